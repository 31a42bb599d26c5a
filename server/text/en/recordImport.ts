/** Why a record can't be imported. */
export const recordImport = {
  noTable: "must be an archive of a training record, or one of its files of JSON lines",
  damaged: "is damaged: download it again where it comes from",
  tooLarge: (gibibytes: number) => `must be at most ${gibibytes} GiB`,
  tableTooLarge: "is too large",
  lineTooLong: "is too long",
  noText: "must be text in UTF-8",
  noJson: "must be one JSON value",
  otherEvent: "must be the event of this line, with its seq and kind",
  place: (file: string, line: number, field: string) =>
    field === "" ? `${file}, line ${line}` : `${file}, line ${line}, ${field}`,
  busy: "Another record is being imported. Try again when it is done.",
  refused: "The record was not understood, so nothing of it was stored.",
};
