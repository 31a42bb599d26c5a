/** A yard's training and its programme. One file to fetch: they share their fields and their record. */
export { ProgrammeScreen } from "./programmeScreen.tsx";
export { TrainingScreen } from "./trainingScreen.tsx";
