import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  type DeliveryCandidate,
  type DeliveryCapacity,
  type DeliveryTarget,
  fairShare,
  rankOf,
} from "../../../server/domain/push/fairShare.ts";
import { defaultDeliveryLimits } from "../../../server/flows/deliveryScheduler.ts";

const limits = { total: 8, perPerson: 4, perService: 3, perUnanswering: 1, unanswering: 4 };
const lanes = (different: Partial<DeliveryCapacity> = {}): DeliveryCapacity => ({
  limits,
  underWay: [],
  answering: new Set(),
  ...different,
});
const many = (count: number, of: DeliveryCandidate): DeliveryCandidate[] => Array.from({ length: count }, () => of);

describe("the fair share of the lanes", () => {
  it("sends urgent ones before those that have waited longer, and closing ones last", () => {
    expect(rankOf({ priority: "urgent" })).toBeLessThan(rankOf({ priority: "soon" }));
    expect(rankOf({ priority: "urgent", isClosing: true })).toBe(rankOf({ priority: "note" }));
    const soon: DeliveryCandidate = { person: "bo", service: "a", rank: 1 };
    const urgent: DeliveryCandidate = { person: "ada", service: "a", rank: 0 };
    expect(fairShare([...many(9, soon), urgent], lanes({ answering: new Set(["a"]) }), 1)).toEqual([urgent]);
  });

  it("goes round the people: who has least under way is next", () => {
    const bo: DeliveryCandidate = { person: "bo", service: "a", rank: 1 };
    const ada: DeliveryCandidate = { person: "ada", service: "a", rank: 1 };
    const chosen = fairShare([...many(9, bo), ...many(2, ada)], lanes({ answering: new Set(["a"]) }), 9);
    expect(chosen.map(({ person }) => person)).toEqual(["bo", "ada", "bo"]);
  });

  it("leaves a service that answers its lanes, whatever waits and hangs elsewhere (any history)", () => {
    const service = fc.constantFrom("hangs-1", "hangs-2", "hangs-3", "hangs-4", "answers-1", "answers-2");
    const exchange = fc.record({ person: fc.constantFrom("ada", "bo", "cilla"), service });
    const candidate = fc.record({
      person: fc.constantFrom("ada", "bo", "cilla"),
      service,
      rank: fc.constantFrom(0, 1, 2),
    }) as fc.Arbitrary<DeliveryCandidate>;
    const answering = new Set(["answers-1", "answers-2"]);
    fc.assert(
      fc.property(fc.array(candidate, { maxLength: 60 }), fc.array(exchange, { maxLength: 4 }), (due, before) => {
        const underWay = fairShare(
          before.map((each) => ({ ...each, rank: 1 as const })),
          lanes({ answering }),
          99,
        );
        const chosen = fairShare(due, lanes({ answering, underWay }), 99);
        const after: DeliveryTarget[] = [...underWay, ...chosen];
        const at = (name: string) => after.filter((each) => each.service === name).length;
        const of = (name: string) => after.filter((each) => each.person === name).length;
        expect(after.length).toBeLessThanOrEqual(limits.total);
        for (const person of ["ada", "bo", "cilla"]) expect(of(person)).toBeLessThanOrEqual(limits.perPerson);
        for (const name of ["hangs-1", "hangs-2", "hangs-3", "hangs-4"]) expect(at(name)).toBeLessThanOrEqual(1);
        for (const name of answering) expect(at(name)).toBeLessThanOrEqual(limits.perService);
        const unanswering = after.filter(({ service }) => !answering.has(service));
        expect(unanswering.length).toBeLessThanOrEqual(limits.unanswering);
        // What is left behind had no lane: its person's, its service's, or all were taken.
        for (const left of due.filter((each) => !chosen.includes(each))) {
          const full = answering.has(left.service) ? limits.perService : limits.perUnanswering;
          expect(
            after.length === limits.total ||
              of(left.person) === limits.perPerson ||
              at(left.service) === full ||
              (!answering.has(left.service) &&
                after.filter((each) => !answering.has(each.service)).length === limits.unanswering),
          ).toBe(true);
        }
      }),
    );
  });

  it("keeps half of the usual lanes from services that don't answer, so that one which does always finds some", () => {
    const hanging = Array.from(
      { length: 900 },
      (_, n): DeliveryCandidate => ({ person: `p${n % 90}`, service: `h${n}`, rank: 0 }),
    );
    const underWay = fairShare(
      hanging,
      { limits: defaultDeliveryLimits.push, underWay: [], answering: new Set() },
      999,
    );
    expect(underWay).toHaveLength(defaultDeliveryLimits.push.unanswering);
    const ada: DeliveryCandidate = { person: "ada", service: "good", rank: 0 };
    const now = { limits: defaultDeliveryLimits.push, underWay, answering: new Set(["good"]) };
    expect(fairShare([...hanging, ...many(3, ada)], now, 50)).toEqual(many(3, ada));
  });
});
