import { after, days, type Instant } from "../../server/domain/instant.ts";
import { everySensor, type Plot, randomPlot } from "../simulator/plot.ts";
import { type EvaluationResult, formatTable, percent } from "./report.ts";
import { runPlot } from "./runPlot.ts";
import { mean, quantile } from "./statistics.ts";

/** Kinds of feeders by what can be known of their hopper. */
const kinds: readonly { readonly name: string; readonly study: Partial<Plot> }[] = [
  { name: "scale, chute, motor", study: {} },
  { name: "no scale", study: { sensors: { ...everySensor, scale: false } } },
  {
    name: "only a scale",
    study: {
      sensors: { ...everySensor, chute: false, button: false, detector: false, perch: false },
      portionsReported: false,
    },
  },
  { name: "neither scale nor chute", study: { sensors: { ...everySensor, scale: false, chute: false } } },
  { name: "scale without thermometer", study: { thermometer: false } },
];

/**
 * How often the truth lies in the hopper's 90 % interval, at each full hour from the second day on, a month each. Hours of one
 * month go together, so months are what counts: the spread over them is given beside the share.
 */
export function evaluateHopper(seeds: readonly number[]): EvaluationResult {
  const rows: (string | number)[][] = [];
  let [insideAll, hoursAll] = [0, 0];
  kinds.forEach(({ name, study }, index) => {
    const shares: number[] = [];
    const widths: number[] = [];
    const offs: number[] = [];
    let [inside, hours] = [0, 0];
    for (const seed of seeds.filter((_, place) => place % kinds.length === index)) {
      const plot = randomPlot(seed, study);
      const from: Instant = after(plot.from, days(1));
      let [insideHere, hoursHere] = [0, 0];
      runPlot(plot, {
        onHopper: ({ at, hopper }, truth) => {
          if (hopper === null || at < from) return;
          hoursHere += 1;
          // Reported to a tenth of a gram, and what lies between two portions is nobody's error.
          if (truth.grams >= hopper.low - 0.05 && truth.grams <= hopper.high + 0.05) insideHere += 1;
          widths.push((hopper.high - hopper.low) / plot.food.capacityGrams);
          offs.push(Math.abs(hopper.grams - truth.grams) / plot.food.capacityGrams);
        },
      });
      if (hoursHere > 0) shares.push(insideHere / hoursHere);
      inside += insideHere;
      hours += hoursHere;
    }
    insideAll += inside;
    hoursAll += hours;
    rows.push([
      name,
      shares.length,
      percent(inside / hours),
      percent(quantile(shares, 0.1)),
      percent(mean(widths)),
      percent(mean(offs)),
    ]);
  });
  rows.push(["all", seeds.length, percent(insideAll / hoursAll), "", "", ""]);
  const columns = [
    "feeder",
    "months",
    "truth in the 90 % interval",
    "worst tenth of months",
    "width, of capacity",
    "off, of capacity",
  ];
  const tables = formatTable("Hopper: how often its interval holds the truth (wanted 85 to 95 %)", columns, rows);
  return { tables, figures: { coverage: insideAll / hoursAll } };
}
