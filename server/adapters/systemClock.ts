import { instant } from "../domain/instant.ts";
import type { Clock } from "../ports.ts";

export const systemClock: Clock = { now: () => instant(Date.now()) };
