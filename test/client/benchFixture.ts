import type { BenchFigureView, BenchRunView, BenchStepView, BenchView } from "../../server/contract/benchView.ts";

/** Rowan's bench runs, invented: the first one was not ready, the second one is. */
export function benchViewFixture(now: number, change: Partial<BenchView> = {}): BenchView {
  return {
    current: null,
    past: [benchRunFixture(now), notReadyRun(now)],
    problem: null,
    fitted: { detector: true, button: true, scale: true },
    portionGrams: 2,
    ...change,
  };
}

const hourMs = 3_600_000;
const iso = (ms: number) => new Date(ms).toISOString();
const kinds = ["quiet", "portions", "weigh", "caps", "presses", "knownMass", "soak", "settle"] as const;

const step = (kind: BenchStepView["kind"], status: BenchStepView["status"]): BenchStepView => ({
  ...{ kind, status, endsAt: null, count: null, problem: null },
  knownGrams: kind === "knownMass" ? 500 : null,
});

export const benchRunFixture = (now: number, change: Partial<BenchRunView> = {}): BenchRunView => ({
  id: "run-00000002",
  requestedBy: "Ada",
  startedAt: iso(now - 10 * hourMs),
  ended: { at: iso(now - hourMs), text: "All steps were done." },
  steps: kinds.map((kind) => step(kind, "done")),
  verdict: "ready",
  verdictText: "Ready to go outdoors, as far as this run shows.",
  figures: figuresOf("0 of 30; may be as many as 10 %", "met", null),
  portionGrams: 2.13,
  ...change,
});

const notReadyRun = (now: number): BenchRunView =>
  benchRunFixture(now, {
    id: "run-00000001",
    startedAt: iso(now - 40 * hourMs),
    verdict: "notReady",
    verdictText: "Not ready.",
    figures: figuresOf("9 of 30; may be as many as 47.9 %", "notMet", "More than 10 %."),
  });

/** A run that is under way, at this step. */
export function runningBench(now: number, at: BenchStepView["kind"], seen = 12): BenchRunView {
  const place = kinds.indexOf(at);
  const steps = kinds.map((kind, index): BenchStepView => {
    const known = step(kind, index < place ? "done" : index === place ? "now" : "next");
    if (kind === "portions") return { ...known, count: { seen: index < place ? 60 : seen, of: 60 } };
    if (kind === "caps" || kind === "presses") return { ...known, count: { seen, of: 30 } };
    return kind === at ? { ...known, endsAt: iso(now + (kind === "soak" ? 8 : 0.05) * hourMs) } : known;
  });
  return benchRunFixture(now, { ended: null, verdict: null, verdictText: null, steps });
}

const figuresOf = (caps: string, status: BenchFigureView["status"], reason: string | null): BenchFigureView[] => [
  figure("Motor runs", "met", "60 of 60"),
  figure("Grams a portion", "met", "2.13 g by your scale; the load cell says 2.11 g (95 % interval 2.05 to 2.17 g)"),
  figure("Empty portions", "met", "0 of 60; may be as many as 5 %", "at most 5 % seen, and no more than 10 % possible"),
  {
    ...figure("Caps missed by the detector", status, caps, "at most 10 % seen, and no more than 20 % possible"),
    reason,
    before: { value: "9 of 30; may be as many as 47.9 %", status: "notMet" },
  },
  figure("Restarts", "met", "none", "none"),
  figure("Temperature", "noted", "−2 °C to 18 °C; colder and warmer is not known"),
];

const figure = (
  label: string,
  status: BenchFigureView["status"],
  value: string,
  limit: string | null = null,
): BenchFigureView => ({ label, status, value, limit, reason: null, before: null });
