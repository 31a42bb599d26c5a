import { days } from "../../server/domain/instant.ts";
import { type NetworkModelName, networkModels, simulateNetwork } from "../domain/silence/networkModels.ts";

// How often a feeder is called silent for nothing, and how late it is found when it is, over seeded years on lines from
// faultless to bad, beside the optimum: the wait that the line's true law exceeds once a year. Run by hand:
// npx tsx test/benchmarks/silenceOnLines.ts [years] [line …]

const [years = "50", ...names] = process.argv.slice(2);
const chosen = (names.length > 0 ? names : Object.keys(networkModels)) as NetworkModelName[];
for (const name of chosen) {
  const late: number[] = [];
  const waits: number[] = [];
  let alarms = 0;
  let firstMonth = 0;
  for (let seed = 1; seed <= Number(years); seed++) {
    const lived = simulateNetwork(name, seed, days(365));
    late.push(...lived.late);
    waits.push(...lived.waits.slice(30));
    alarms += lived.falseAt.length;
    firstMonth += lived.falseAt.filter((at) => at < days(30)).length;
  }
  late.sort((a, b) => b - a);
  waits.sort((a, b) => a - b);
  const best = Math.max(3, late[Number(years)] ?? 3); // three reports lost are waited for in any case
  const quantile = (share: number) => waits[Math.floor(share * waits.length)] ?? Number.NaN;
  const mean = waits.reduce((sum, wait) => sum + wait, 0) / waits.length;
  console.log(
    `${name.padEnd(10)} false a year ${(alarms / Number(years)).toFixed(2)} (first month ${(firstMonth / Number(years)).toFixed(2)}), ` +
      `wait mean ${mean.toFixed(1)} median ${quantile(0.5).toFixed(1)} 95 % ${quantile(0.95).toFixed(1)}, ` +
      `optimum ${best.toFixed(1)} reports`,
  );
}
