import { randomUUID } from "node:crypto";
import { stillsKeptDaysUsual } from "../domain/pictures/stillSpace.ts";
import type { YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";

/** The yard of a new server. Its keeper changes what doesn't fit. */

/** Minutes until the next person is notified of an urgent alarm. Common practice, no source. */
export const defaultEscalateMinutes = 15;

export const firstYard = (zone: string): YardRow => ({
  id: randomUUID(),
  name: texts.yards.firstName,
  zone,
  place: null,
  digestTime: "07:30",
  digestWanted: true,
  practice: false,
  escalateMinutes: defaultEscalateMinutes,
  diseaseNotice: null,
  stillsKeptDays: stillsKeptDaysUsual,
});
