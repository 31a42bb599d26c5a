const percent = (share: number) => `${Math.floor(100 * share)} %`;

export const stills = {
  noStill: "There is no such picture.",
  otherKind: "must be a JPEG, PNG or WebP picture",
  unreadable: "can't be read as a picture: it is damaged or incomplete",
  tooManyPixels: "has too many pixels: at most 24 million",
  tooLarge: "is larger than 512 KiB",
  future: "must not be in the future",
  full: "This yard has no space for more stills: those with a star take all of it.",
  tooOften: (most: number) => `At most ${most} stills a minute are taken from one feeder.`,
  tooMany: (most: number) => `At most ${most} stills in 24 hours are taken from one feeder.`,
  nearlyFull: (share: number, count: number, most: number) =>
    `The space for stills is ${percent(share)} full (${count} of at most ${most}). When it is full, the oldest without a star are removed for new ones.`,
};
