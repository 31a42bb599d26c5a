/** The data dictionary of the training record's export: of each column its unit and what it means. */
interface ColumnText {
  readonly unit: string;
  readonly meaning: string;
}

const column = (unit: string, meaning: string): ColumnText => ({ unit, meaning });
const share = "share, 0 to 1";
const feeder = column("", "Id of the feeder.");
const picture = column("", "Address of the picture on the server.");
const sha256 = column("", "Of the picture's octets, hexadecimal; empty: the file is missing.");
const at = column("UTC", "Moment, ISO 8601.");

const columns: Readonly<Record<string, Readonly<Record<string, ColumnText>>>> = {
  days: {
    date: column("local date", "Day in the yard's time zone."),
    stage: column("", "Id of the stage in force at noon."),
    trials: column("count", "Bouts of visits (or portions of free food, in a stage of free food); empty: not seen."),
    successes: column("count", "Trials with at least one act of the stage."),
    acts: column("count", "Acts of the stage outside of pauses and known faults."),
    promised: column("count", "Presses and deposits that were owed a portion."),
    paid: column("count", "Of them, those that got one that was not seen to be empty."),
    latency_p50_ms: column("ms", "Median from the act to the start of the motor, of paid ones."),
    latency_p95_ms: column("ms", "95th percentile of the same (Hyndman and Fan 1996, type 7)."),
    latency_worst_ms: column("ms", "The longest of the same."),
    free_portions: column("count", "Portions that no act had earned: plan, or keeper."),
    unexplained_portions: column("count", "Portions for an act that no event shows."),
    rejected_deposits: column("count", "What the slot's detector saw and did not take for a cap."),
    judged_share: column(share, "Part of the birds' day without pauses, known faults and silence."),
    air_celsius: column("°C", "Mean air temperature of the birds' day, where it was reported."),
  },
  events: {
    at: column("UTC", "Moment, ISO 8601."),
    date: column("local date", "Day in the yard's time zone."),
    feeder,
    boot: column("", "Start of the feeder that recorded it; with seq, no other event of this feeder has it."),
    seq: column("", "Its number within the boot."),
    kind: column("", "visit, press, deposit, portion, refill, lid, order, trouble, or as a newer feeder calls it."),
    act: column(
      "",
      "Of a portion what it was given for: press, deposit, timer (free food) or keeper; empty: of others.",
    ),
    grams: column(
      "g",
      "Of a refill as the feeder reported it; empty: of others, or not known. Portions aren't weighed.",
    ),
    pieces: column("count", "Of a portion what the chute's sensor counted; empty: of others, or no such sensor."),
    earns: column("0 or 1", "Of a press or deposit 1: promised a portion, as the feeder says; empty: it doesn't say."),
    paid_by: column("", "Boot and seq of the portion that was given for it; empty: none, or no stage was in force."),
    latency_ms: column("ms", "From it to the start of the motor of that portion."),
    reported: column("JSON", "The event as the feeder sent it, with all that it measured."),
  },
  promises: {
    feeder,
    at,
    act: column("", "press or deposit"),
    outcome: column("", "paid, empty (no food was seen to fall), cutShort, or noPortion"),
    latency_ms: column("ms", "From the act to the start of the motor; empty: no portion."),
    cause: column("", "Fault that stood then, where one did; empty: nothing reported explains it."),
  },
  bouts: {
    feeder,
    from: column("UTC", "First event of the bout, ISO 8601."),
    to: column("UTC", "Last event of the bout; five minutes without one end it."),
    visits: column("count", "Visits in it."),
    presses: column("count", "Presses in it."),
    deposits: column("count", "Deposits in it that were not rejected."),
  },
  stages: {
    stage: column("", "Id of the stage."),
    name: column("", "As the keeper calls it."),
    from: column("UTC", "When it was started, ISO 8601."),
    to: column("UTC", "When another was started; empty: it is the present one."),
    distance_cm: column("cm", "Of the button or the caps to the dish, at the end of the stage."),
    caps_laid: column("count", "Caps that the keeper laid out."),
    slot_opening_mm: column("mm", "Width of the slot."),
    grams_each: column("g", "Weight of a portion; empty: as the feeder's settings have it."),
  },
  stills: {
    feeder,
    at: column("UTC", "When it was taken, ISO 8601: of its event once that is known."),
    boot: column("", "Of the event that the feeder named; empty: none."),
    seq: column("", "Number of that event within its boot."),
    event: column("", "Kind of the event; empty: none, or no report has brought it."),
    payment: column("", "paid, unpaid or earnsNothing, of a deposit; empty: of anything else, or not known."),
    who: column("", "Who is in it, in the keeper's judgement."),
    brought: column("", "What was brought, in the keeper's words."),
    starred: column("0 or 1", "1: kept for good."),
    picture,
    sha256,
    id: column("", "Of the picture."),
  },
  feeders: {
    feeder,
    name: column("", "As the keeper calls it."),
    button: column("0 or 1", "1: it has a button."),
    detector: column("0 or 1", "1: its slot has a metal detector."),
    chute: column("0 or 1", "1: a sensor counts what falls through the chute."),
    perch: column("0 or 1", "1: a switch sees visits."),
    scale: column("0 or 1", "1: it weighs its hopper."),
    portion_grams: column("g", "Weight of a portion, as entered; empty: nobody has entered it."),
  },
  changes: {
    at,
    by: column("", "Who entered it."),
    text: column("", "What was changed."),
    reason: column("", "In the keeper's words."),
    undone_at: column("UTC", "When it was undone; empty: it is in force."),
    undone_by: column("", "Who undid it."),
    id: column("", "Of the change."),
    content: column("JSON", "What was changed, for a program: as the server's interface has it."),
  },
  notes: {
    at,
    by: column("", "Who wrote it."),
    text: column("", "The note."),
    feeder: column("", "Id of the feeder that it is about."),
    stage: column("", "Id of the stage that it is about."),
    boot: column("", "Of the event at whose picture it was written; empty: none."),
    seq: column("", "Number of that event within its boot."),
    caps_on_dish: column("count", "Caps that lay on the dish instead of in the slot; empty: not counted."),
    changed_at: column("UTC", "When its text was changed last; empty: it is as it was first written."),
    id: column("", "Of the note."),
    still: column("", "Id of the camera's picture at which it was written; empty: none."),
  },
  photos: {
    note: column("", "Id of the note that it is part of."),
    at: column("UTC", "When it was added, ISO 8601."),
    by: column("", "Who added it."),
    picture,
    sha256,
    id: column("", "Of the picture."),
  },
};

export const trainingExport = {
  /** Of the whole record, for whoever reads its files. */
  notes: () => [
    "Values that nobody measured are empty, never 0.",
    "Events during bench runs, and feeders on the bench or put away, are left out, as on the training page.",
    "In the archive, pictures are photos/<id>.jpg and stills/<id>.jpg.",
    "Read back by this server, the record comes into a yard from the files feeders, changes, notes, photos, stills and events; the rest follows from them.",
    "What can't come back: a feeder's readings and reports between events, alarms and pauses. So judged_share, air_celsius and cause may differ then.",
  ],
  /** Undefined: the table has no such column. */
  column: (table: string, name: string) => columns[table]?.[name],
};
