import type { DigestStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { digestWayFrom } from "./peopleStore.ts";
import { dateOf, feederFrom, yardFrom } from "./rows.ts";

export function digestsOver({ reader }: Connections): DigestStore {
  return {
    async yardsWithDigest() {
      return (await reader.yard.findMany({ where: { digestWanted: true }, orderBy: { createdAt: "asc" } })).map(
        yardFrom,
      );
    },

    async feedersOf(yard) {
      return (await reader.feeder.findMany({ where: { yardId: yard }, orderBy: { createdAt: "asc" } })).map(feederFrom);
    },

    async readersOf(yard) {
      const found = await reader.member.findMany({ where: { yardId: yard }, orderBy: { createdAt: "asc" } });
      return found.map(({ keeperId, digestBy }) => ({ person: keeperId, digestBy: digestWayFrom(digestBy) }));
    },

    async hasDigest(yard, localDate) {
      return (await reader.digest.findUnique({ where: { yardId_localDate: { yardId: yard, localDate } } })) !== null;
    },

    async tally(feeder, from, to) {
      const kinds = await reader.event.groupBy({
        by: ["kind"],
        where: { feederId: feeder, recordedAt: { gte: dateOf(from), lt: dateOf(to) } },
        _count: true,
      });
      const count = (kind: string) => kinds.find((group) => group.kind === kind)?._count ?? 0;
      const alarmsRaised = await reader.alarmChange.count({
        where: { feederId: feeder, to: "unacknowledged", at: { gte: dateOf(from), lt: dateOf(to) } },
      });
      return {
        visits: count("visit"),
        presses: count("press"),
        deposits: count("deposit"),
        portions: count("portion"),
        alarmsRaised,
      };
    },
  };
}
