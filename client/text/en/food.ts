export const newWeightText = (mass: string) => `New portion weight: ${mass}.`;
export const pieceUnknownText = "The weight of such a piece is not known. Weigh ten portions.";
export const piecesText = (pieces: number) => (pieces === 1 ? "1 piece" : `${pieces} pieces`);
export const weightFromPiecesText = (pieces: string, piece: string, portion: string) =>
  `${pieces} of about ${piece}: portion weight about ${portion}.`;
export const noValueText = "Until you enter a value, a portion is assumed to be a few small pieces.";
