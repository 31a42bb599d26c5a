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
  const escalations = winters.flatMap((winter) => winter.escalations);
  const rate = (count: number) => {
    const { low, high } = poissonLimits(count);
    return [count, formatNumber(count / weeks), `${formatNumber(low / weeks)} to ${formatNumber(high / weeks)}`];
  };
  const share = (hits: number, of: number) => {
    const { low, high } = proportionLimits(hits, of);
    return [hits, percent(hits / of), `${percent(low)} to ${percent(high)}`];
  };
  const notifications = sumOf(winters, (winter) => winter.notifications);
  const reminders = sumOf(winters, (winter) => winter.reminders);
  const needed = escalations.filter(({ wrong }) => wrong !== null).length;
  const byHand = escalations.filter(({ wrong }) => wrong === "hand").length;
  const worst = winters.map((winter) => winter.worstTenMinutes);
  const perWinter = winters.map((winter) => winter.escalations.length / winter.feederWeeks);
  return formatTable(
    `Quiet over ${winters.length} winters, ${formatNumber(weeks)} feeder-weeks`,
    ["measure", "count", "a feeder-week, or share", "95 %"],
    [
      ["alarms notified, each once", ...rate(escalations.length)],
      ["of these urgent", ...rate(escalations.filter(({ urgent }) => urgent).length)],
      ["notifications, each person's, with reminders", ...rate(notifications)],
      ["of these reminders", ...rate(reminders)],
      ["quiet corrections and withdrawals", ...rate(sumOf(winters, ({ corrections }) => corrections))],
      ["mails about alarms", ...rate(sumOf(winters, ({ emails }) => emails))],
      ["mails of good news", ...rate(sumOf(winters, ({ allClearEmails }) => allClearEmails))],
      ["alarms with something wrong or to refill", ...share(needed, escalations.length)],
      ["of all: what only a person could repair or refill", ...share(byHand, escalations.length)],
      [
        "notifications with something wrong or to refill",
        ...share(
          sumOf(winters, ({ neededNotifications }) => neededNotifications),
          notifications,
        ),
      ],
      [
        "worst ten minutes of one person, notifications",
        Math.max(...worst),
        `half of the winters: ${formatNumber(quantile(worst, 0.5))}`,
        "",
      ],
      // Winters differ by their sky and their birds: Garwood's limits know nothing of that.
      ["alarms notified, by the spread of winters", "", formatNumber(mean(perWinter)), spreadOf(perWinter)],
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
  for (const escalation of winters.flatMap(({ escalations }) => escalations))
    groups.set(escalation.fault, [...(groups.get(escalation.fault) ?? []), escalation]);
  const rows = [...groups.values()]
    .sort((one, other) => other.length - one.length)
    .map((escalations) => {
      const [first] = escalations;
      const count = (wrong: EscalationFigure["wrong"]) =>
        escalations.filter((escalation) => escalation.wrong === wrong).length;
      const { low, high } = poissonLimits(escalations.length);
      return [
        first === undefined ? "" : ruleOf(first.fault).title,
        escalations.length,
        escalations.length / weeks,
        `${formatNumber(low / weeks)} to ${formatNumber(high / weeks)}`,
        count("hand"),
        count("itself"),
        count(null),
      ];
    });
  const columns = ["alarm", "notified", "a feeder-week", "95 %", "for a person", "passed by itself", "for nothing"];
  return formatTable("Which alarms notified", columns, rows);
}

function byIncident(winters: readonly WinterFigures[]): string {
  const groups = new Map<string, WinterFigures["incidents"][number][]>();
  for (const incident of winters.flatMap(({ incidents }) => incidents)) {
    const name = `${incident.mishap}, ${incident.yard ? "yard" : "feeder"}`;
    groups.set(name, [...(groups.get(name) ?? []), incident]);
  }
  const rows = [...groups].map(([name, incidents]) => {
    const notified = incidents.flatMap(({ hoursUntilNotified }) => hoursUntilNotified ?? []);
    const { low, high } = proportionLimits(notified.length, incidents.length);
    return [
      name,
      incidents.length,
      percent(notified.length / incidents.length),
      `${percent(low)} to ${percent(high)}`,
      quantile(notified, 0.5),
      quantile(notified, 0.9),
      mean(
        incidents
          .filter(({ hoursUntilNotified }) => hoursUntilNotified === null)
          .map(({ hoursItStood }) => hoursItStood),
      ),
    ];
  });
  return formatTable(
    "What went wrong, and who was notified of it",
    ["what", "times", "notified", "95 %", "hours until, half", "nine of ten", "hours that the others stood"],
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
