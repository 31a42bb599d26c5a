/** The practice yard that lives a whole training programme: what its keeper writes, and how far it is. */
export const practice = {
  programmeYard: "Alder Croft, a whole programme",
  keeper: "Practice keeper",
  begin: "The feeder hangs. It begins with free food, so that birds come.",
  follows: (advice: string, reason: string) => `The record advises: ${advice} ${reason}`,
  living: (week: number, weeks: number, stage: string, advice: string | null) =>
    `Week ${week} of ${weeks}: ${stage}.${advice === null ? "" : ` Advice: ${advice}`}`,
  ended: (weeks: number, stage: string) =>
    `All ${weeks} weeks are lived. The birds are at “${stage}”, and go on from there.`,
  stopped: (week: number, weeks: number) =>
    `Stopped in week ${week} of ${weeks}. The record ends there; it can be started again from the beginning.`,
  interrupted:
    "The server was restarted while the programme was lived, and it ended there. It can be started again from the beginning.",
  weekNote: (fair: number, rain: number, snow: number, low: number, high: number) =>
    `Weather of the week: ${fair} fair days, ${rain} with rain, ${snow} with snow; ${low} to ${high} °C.`,
  emptyNote:
    "I was away over the weekend and the hopper ran empty. Presses and caps earned nothing. Filled this morning.",
  frozenNote: "The tray was frozen yesterday: the motor turned and nothing fell. Thawed and dried it.",
};
