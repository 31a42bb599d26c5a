export const names = {
  invisible: (code: string) => `must not contain invisible or direction marks, and has one (U+${code})`,
  noLetter: "must contain a letter or a digit",
};
