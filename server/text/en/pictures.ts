const percent = (share: number) => `${Math.floor(100 * share)} %`;

export const pictures = {
  noPicture: "There is no such picture.",
  otherKind: "must be a JPEG, PNG or WebP picture",
  unreadable: "can't be read as a picture: it is damaged or incomplete",
  tooManyPixels: "has too many pixels: at most 24 million",
  full: "This yard has no space for more pictures. Delete some that you no longer need.",
  nearlyFull: (share: number, count: number, most: number) =>
    `The space for pictures is ${percent(share)} full (${count} of at most ${most} pictures). When it is full, no more can be added.`,
};
