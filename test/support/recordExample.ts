/** A training record as a file of JSON lines: one note. */
export const recordExample = `${JSON.stringify({
  ...{ at: "2026-01-10T09:00:00.000Z", by: "Ada", text: "two jays", feeder: null, stage: null, boot: null, seq: null },
  ...{ caps_on_dish: 1, changed_at: null, id: "note-of-old", still: null },
})}\n`;
