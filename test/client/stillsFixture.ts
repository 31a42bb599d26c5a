import type { StillsView, StillView } from "../../server/contract/stillView.ts";

const hourMs = 3_600_000;

export const stillFixture = (id: string, hoursAgo: number, different: Partial<StillView> = {}): StillView => ({
  ...{ id, feeder: { id: "rowan", name: "Rowan" }, event: { known: true, kind: "deposit" }, payment: "paid" },
  ...{ starred: false, who: null, brought: null, widthPixels: 1_280, heightPixels: 960 },
  at: new Date(Date.now() - hoursAgo * hourMs).toISOString(),
  ...different,
});

const none = { labels: [], labelled: 0 };

export const stillsViewFixture = (
  stills: readonly StillView[],
  more = false,
  different: Partial<StillsView> = {},
): StillsView => ({
  ...{ stills, more, spaceText: null, keptDays: 30, total: 12, who: none },
  brought: {
    labels: [
      { label: "bottle cap", stills: 4, share: 0.8, limits: { low: 0.3755, high: 0.9638 } },
      { label: "twig", stills: 1, share: 0.2, limits: { low: 0.0362, high: 0.6245 } },
    ],
    labelled: 5,
  },
  ...different,
});
