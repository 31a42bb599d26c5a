import { ruleOf } from "../../../server/domain/faults.ts";
import { formatNumber, formatTable, percent } from "../report.ts";
import { mean, poissonLimits, proportionLimits, quantile } from "../statistics.ts";
import { absences, incidentKinds } from "./incidents.ts";
import type { EscalationFigure, WinterFigures } from "./winterCounter.ts";

/** What many winters came to, with limits of 95 %: Garwood's for counts, Wilson's for shares. */
export function formatWinterTables(winters: readonly WinterFigures[]): string {
  return [quiet(winters), byAlarm(winters), byIncident(winters), planted()].join("\n");
}

const sumOf = (winters: readonly WinterFigures[], what: (winter: WinterFigures) => number): number =>
  winters.reduce((sum, winter) => sum + what(winter), 0);

function quiet(winters: readonly WinterFigures[]): string {
  const weeks = sumOf(winters, ({ feederWeeks }) => feederWeeks);
  const calls = winters.flatMap((winter) => winter.escalations);
  const rate = (count: number) => {
    const { low, high } = poissonLimits(count);
    return [count, formatNumber(count / weeks), `${formatNumber(low / weeks)} to ${formatNumber(high / weeks)}`];
  };
  const share = (hits: number, of: number) => {
    const { low, high } = proportionLimits(hits, of);
    return [hits, percent(hits / of), `${percent(low)} to ${percent(high)}`];
  };
  const rings = sumOf(winters, (winter) => winter.notifications);
  const reminders = sumOf(winters, (winter) => winter.reminders);
  const needed = calls.filter(({ wrong }) => wrong !== null).length;
  const byHand = calls.filter(({ wrong }) => wrong === "hand").length;
  const worst = winters.map((winter) => winter.worstTenMinutes);
  const perWinter = winters.map((winter) => winter.escalations.length / winter.feederWeeks);
  return formatTable(
    `Quiet over ${winters.length} winters, ${formatNumber(weeks)} feeder-weeks`,
    ["measure", "count", "a feeder-week, or share", "95 %"],
    [
      ["alarms that rang, each once", ...rate(calls.length)],
      ["of these urgent", ...rate(calls.filter(({ urgent }) => urgent).length)],
      ["rings, each person's, with reminders", ...rate(rings)],
      ["of these reminders", ...rate(reminders)],
      ["quiet corrections and withdrawals", ...rate(sumOf(winters, ({ corrections }) => corrections))],
      ["mails about alarms", ...rate(sumOf(winters, ({ emails }) => emails))],
      ["mails of good news", ...rate(sumOf(winters, ({ allClearEmails }) => allClearEmails))],
      ["alarms with something wrong or to refill", ...share(needed, calls.length)],
      ["of all: what only a person could mend or fill", ...share(byHand, calls.length)],
      [
        "rings with something wrong or to refill",
        ...share(
          sumOf(winters, ({ neededNotifications }) => neededNotifications),
          rings,
        ),
      ],
      [
        "worst ten minutes of one person, rings",
        Math.max(...worst),
        `half of the winters: ${formatNumber(quantile(worst, 0.5))}`,
        "",
      ],
      // Winters differ by their sky and their birds: Garwood's limits know nothing of that.
      ["alarms that rang, by the spread of winters", "", formatNumber(mean(perWinter)), spreadOf(perWinter)],
      [
        "a winter's alarms, quietest to loudest",
        "",
        `${formatNumber(Math.min(...perWinter))} to ${formatNumber(Math.max(...perWinter))}`,
        "",
      ],
    ],
  );
}

/** Limits of a mean by how its values scatter, normal approximation; of one value nothing is known. */
function spreadOf(values: readonly number[]): string {
  if (values.length < 2) return "-";
  const middle = mean(values);
  const variance = values.reduce((sum, value) => sum + (value - middle) ** 2, 0) / (values.length - 1);
  const reach = 1.96 * Math.sqrt(variance / values.length);
  return `${formatNumber(middle - reach)} to ${formatNumber(middle + reach)}`;
}

function byAlarm(winters: readonly WinterFigures[]): string {
  const weeks = sumOf(winters, ({ feederWeeks }) => feederWeeks);
  const groups = new Map<string, EscalationFigure[]>();
  for (const call of winters.flatMap(({ escalations }) => escalations))
    groups.set(call.fault, [...(groups.get(call.fault) ?? []), call]);
  const rows = [...groups.values()]
    .sort((one, other) => other.length - one.length)
    .map((calls) => {
      const [first] = calls;
      const count = (wrong: EscalationFigure["wrong"]) => calls.filter((call) => call.wrong === wrong).length;
      const { low, high } = poissonLimits(calls.length);
      return [
        first === undefined ? "" : ruleOf(first.fault).title,
        calls.length,
        calls.length / weeks,
        `${formatNumber(low / weeks)} to ${formatNumber(high / weeks)}`,
        count("hand"),
        count("itself"),
        count(null),
      ];
    });
  const columns = ["alarm", "rang", "a feeder-week", "95 %", "for a person", "passed by itself", "for nothing"];
  return formatTable("Which alarms rang", columns, rows);
}

function byIncident(winters: readonly WinterFigures[]): string {
  const groups = new Map<string, WinterFigures["incidents"][number][]>();
  for (const incident of winters.flatMap(({ incidents }) => incidents)) {
    const name = `${incident.mishap}, ${incident.yard ? "yard" : "feeder"}`;
    groups.set(name, [...(groups.get(name) ?? []), incident]);
  }
  const rows = [...groups].map(([name, incidents]) => {
    const told = incidents.flatMap(({ hoursUntilTold }) => hoursUntilTold ?? []);
    const { low, high } = proportionLimits(told.length, incidents.length);
    return [
      name,
      incidents.length,
      percent(told.length / incidents.length),
      `${percent(low)} to ${percent(high)}`,
      quantile(told, 0.5),
      quantile(told, 0.9),
      mean(incidents.filter(({ hoursUntilTold }) => hoursUntilTold === null).map(({ hoursItStood }) => hoursItStood)),
    ];
  });
  return formatTable(
    "What went wrong, and who was rung about it",
    ["what", "times", "rung", "95 %", "hours until, half", "nine of ten", "hours that the others stood"],
    rows,
  );
}

function planted(): string {
  const rows = incidentKinds.map(({ mishap, where, perMonth, lasts }) => {
    const hours = lasts?.map((span) => formatNumber(span / 3_600_000)).join(" to ");
    return [mishap, where, perMonth, hours === undefined ? "until mended" : `${hours} h`];
  });
  rows.push([
    "nobody at home",
    "yard",
    (absences.perWinter * 30) / 151,
    `${absences.lasts.map((span) => formatNumber(span / 86_400_000)).join(" to ")} days`,
  ]);
  return formatTable("What was planted, invented", ["what", "where", "a month", "lasts"], rows);
}
