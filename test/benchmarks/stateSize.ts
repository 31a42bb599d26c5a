/**
 * `npx tsx test/benchmarks/stateSize.ts [days] [seconds between reports] [seed]`: what a busy feeder's state weighs.
 *
 * Goal: after a year at most 6 kB as it is stored, which is deflated. Method: a simulated year of a feeder with every sensor, by the
 * server's own steps; the largest and the usual size over the year, and the last state's size by part, with what of it are names,
 * numbers and lists. The stored size has the open roll-ups too.
 */
import { deflateRawSync } from "node:zlib";
import { encodeState } from "../../server/adapters/store/snapshots.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import { busyFeederStates } from "../simulator/busyFeeder.ts";

const [spanDays = 365, reportEverySeconds = 60, seed = 4] = process.argv.slice(2).map(Number);

const sizes: number[] = [];
const storedSizes: number[] = [];
let last: FeederState | null = null;
let largest: FeederState | null = null;
let nextAt = 0;
for (const { at, state, rollups } of busyFeederStates(seed, spanDays, reportEverySeconds)) {
  last = state;
  if (at < nextAt) continue;
  nextAt = at + 3_600_000;
  const bytes = jsonBytes(state);
  if (sizes.every((size) => size < bytes)) largest = state;
  sizes.push(bytes);
  storedSizes.push(encodeState({ state, rollups }).length);
}
if (last === null || largest === null) throw new Error("expected at least one state");
const ordered = sizes.toSorted((a, b) => a - b);
console.log(
  `over ${spanDays} days: usual ${ordered[ordered.length >> 1]}, one hour in a hundred ${ordered[Math.floor(0.99 * ordered.length)]}, largest ${ordered.at(-1)} bytes`,
);
storedSizes.sort((a, b) => a - b);
console.log(
  `as stored, with the open roll-ups: usual ${storedSizes[storedSizes.length >> 1]}, largest ${storedSizes.at(-1)} bytes`,
);
printParts("at the end", last);
printParts("at its largest", largest);

function printParts(title: string, state: FeederState): void {
  const text = JSON.stringify(state);
  console.log(`\n${title}: ${jsonBytes(state)} bytes, deflated ${deflateRawSync(text).length}`);
  console.log(row("part", weigh(state)));
  for (const [name, part] of Object.entries(state)) {
    console.log(row(name, weigh(part)));
    if (jsonBytes(part) < 150 || typeof part !== "object" || part === null) continue;
    for (const [inner, value] of Object.entries(part)) {
      if (jsonBytes(value) >= 60) console.log(row(`  ${inner}`, weigh(value)));
    }
  }
}

interface Weight {
  readonly bytes: number;
  readonly names: number; // of it, names of fields with their quotes and colons
  readonly numbers: number;
  readonly listed: number; // in lists, whatever it is
}

function weigh(value: unknown): Weight {
  const bytes = jsonBytes(value);
  if (typeof value === "number") return { bytes, names: 0, numbers: bytes, listed: 0 };
  if (typeof value !== "object" || value === null) return { bytes, names: 0, numbers: 0, listed: 0 };
  const names = Array.isArray(value)
    ? 0
    : Object.keys(value).reduce((sum, name) => sum + JSON.stringify(name).length + 1, 0);
  const parts = Object.values(value).map(weigh);
  return {
    bytes,
    names: names + parts.reduce((sum, part) => sum + part.names, 0),
    numbers: parts.reduce((sum, part) => sum + part.numbers, 0),
    listed: Array.isArray(value) ? bytes : parts.reduce((sum, part) => sum + part.listed, 0),
  };
}

function jsonBytes(value: unknown): number {
  return Buffer.byteLength(JSON.stringify(value) ?? "");
}

function row(name: string, { bytes, names, numbers, listed }: Weight): string {
  return `${name.padEnd(24)}${[bytes, names, numbers, listed].map((count) => String(count).padStart(8)).join("")}`;
}
