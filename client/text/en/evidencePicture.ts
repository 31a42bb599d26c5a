/** The hours around an alarm, drawn: what fell, what the motor drew, what lay in the hopper. */
export const laneNames = { pieces: "pieces", milliamps: "mA", grams: "g" } as const;
export const pictureText = (portions: number, empty: number, time: string) =>
  portions === 0
    ? `No portion in the hours before ${time}.`
    : `${portions === 1 ? "One portion" : `${portions} portions`} around ${time}${empty === 0 ? "" : `, ${empty} without a piece`}.`;
export const cutText = "Only the last 200 portions are drawn.";
export const tableSummary = "These portions as a table";
export const timeHead = "time";
export const causeHead = "given for";
export const causes = {
  timer: "free food",
  press: "a press",
  deposit: "a cap",
  keeper: "by hand",
  bench: "a bench run",
} as const;
export const piecesHead = "pieces";
export const currentHead = "motor, mA";
export const unknownValue = "–";
export const notLoadedText = "The picture needs a connection.";
