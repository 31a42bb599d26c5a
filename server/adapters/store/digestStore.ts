import type { eventSchemas } from "../../contract/report.ts";
import type { Digest } from "../../domain/digest/digest.ts";
import type { Instant } from "../../domain/instant.ts";
import type { DigestStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { digestChannelFrom } from "./peopleStore.ts";
import { dateOf, feederFrom, instantFrom, readableRows, yardFrom } from "./rows.ts";

export const createDigestStore = (connections: Connections): DigestStore => ({
  ...digestYards(connections),
  ...dayRecords(connections),
  ...storedDigests(connections),
});

function digestYards({ reader }: Connections): Pick<DigestStore, "yardsWithDigest" | "feedersOf" | "recipientsOf"> {
  return {
    async yardsWithDigest() {
      return (await reader.yard.findMany({ where: { digestWanted: true }, orderBy: { createdAt: "asc" } })).map(
        yardFrom,
      );
    },

    async feedersOf(yard) {
      const found = await reader.feeder.findMany({ where: { yardId: yard }, orderBy: { createdAt: "asc" } });
      return readableRows(found, feederFrom);
    },

    async recipientsOf(yard) {
      const found = await reader.member.findMany({ where: { yardId: yard }, orderBy: { createdAt: "asc" } });
      return found.map(({ keeperId, digestBy }) => ({ person: keeperId, digestBy: digestChannelFrom(digestBy) }));
    },
  };
}

async function countEvents(
  reader: Connections["reader"],
  feeder: string,
  { from, to }: { readonly from: Instant; readonly to: Instant },
) {
  const groups = await reader.event.groupBy({
    by: ["kind"],
    where: { feederId: feeder, recordedAt: { gte: dateOf(from), lt: dateOf(to) } },
    _count: true,
  });
  const count = (kind: keyof typeof eventSchemas) => groups.find((group) => group.kind === kind)?._count ?? 0;
  return { visits: count("visit"), presses: count("press"), deposits: count("deposit"), portions: count("portion") };
}

function dayRecords({ reader }: Connections): Pick<DigestStore, "dayCounts" | "paymentEvents" | "firstReadings"> {
  return {
    async dayCounts(feeder, spans) {
      const counts = [];
      for (const span of spans) counts.push(await countEvents(reader, feeder, span));
      return counts;
    },

    async paymentEvents(feeder, { from, to }, most) {
      const found = await reader.event.findMany({
        where: {
          feederId: feeder,
          kind: { in: ["deposit", "portion"] },
          recordedAt: { gte: dateOf(from), lt: dateOf(to) },
        },
        orderBy: [{ recordedAt: "asc" }, { seq: "asc" }],
        take: most,
        select: { seq: true, boot: true, kind: true, recordedAt: true, body: true },
      });
      return found.map((event) => ({ ...event, seq: Number(event.seq), recordedAt: instantFrom(event.recordedAt) }));
    },

    async firstReadings(feeder, spans) {
      const found = [];
      for (const { from, to } of spans) {
        const first = await reader.heartbeat.findFirst({
          where: { feederId: feeder, receivedAt: { gte: dateOf(from), lt: dateOf(to) } },
          orderBy: { receivedAt: "asc" },
          select: { receivedAt: true, readings: true },
        });
        if (first !== null) found.push({ receivedAt: instantFrom(first.receivedAt), readings: first.readings });
      }
      return found;
    },
  };
}

function storedDigests({ reader }: Connections): Pick<DigestStore, "dates" | "digest"> {
  return {
    async dates(yard, most) {
      const found = await reader.digest.findMany({
        where: { yardId: yard },
        orderBy: { localDate: "desc" },
        take: most,
        select: { localDate: true },
      });
      return found.map(({ localDate }) => localDate);
    },

    async digest(yard, localDate) {
      const found = await reader.digest.findUnique({ where: { yardId_localDate: { yardId: yard, localDate } } });
      return found && { localDate, title: found.title, ...(JSON.parse(found.lines) as Omit<Digest, "title">) };
    },
  };
}
