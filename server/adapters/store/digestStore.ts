import type { eventSchemas } from "../../contract/report.ts";
import type { Digest } from "../../domain/digest/digest.ts";
import { type DigestStore, PackDamaged, type RecordedEvent } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { digestChannelFrom, yardFrom } from "./rows.ts";

export const createDigestStore = (connections: Connections): DigestStore => ({
  ...digestYards(connections),
  ...dayRecords(connections),
  ...storedDigests(connections),
});

function digestYards({
  reader,
  feeders,
}: Connections): Pick<DigestStore, "yardsWithDigest" | "feedersOf" | "recipientsOf"> {
  return {
    async yardsWithDigest() {
      return (await reader.yard.findMany({ where: { digestWanted: true }, orderBy: { createdAt: "asc" } })).map(
        yardFrom,
      );
    },

    async feedersOf(yard) {
      return feeders().usable(yard);
    },

    async recipientsOf(yard) {
      const found = await reader.member.findMany({ where: { yardId: yard }, orderBy: { createdAt: "asc" } });
      return found.map(({ keeperId, digestBy }) => ({ person: keeperId, digestBy: digestChannelFrom(digestBy) }));
    },
  };
}

function dayRecords({ feeders, log }: Connections): Pick<DigestStore, "dayCounts" | "paymentEvents" | "firstReadings"> {
  return {
    async dayCounts(feeder, spans) {
      const no = feeders().number(feeder);
      return spans.map(({ from, to }) => unlessPackDamaged(() => countEvents(log().events(no, from, to))));
    },

    async paymentEvents(feeder, { from, to }, most) {
      const found = log().events(feeders().number(feeder), from, to);
      return found.filter(({ kind }) => kind === "deposit" || kind === "portion").slice(0, most);
    },

    async firstReadings(feeder, spans) {
      const no = feeders().number(feeder);
      return spans.flatMap(({ from, to }) => {
        const [first] = log().readings(no, from, to);
        return first === undefined ? [] : [{ receivedAt: first.at, readings: first.readings }];
      });
    },
  };
}

function unlessPackDamaged<T>(read: () => T): T | null {
  try {
    return read();
  } catch (error) {
    if (error instanceof PackDamaged) return null;
    throw error;
  }
}

function countEvents(events: readonly RecordedEvent[]) {
  const count = (kind: keyof typeof eventSchemas) => events.filter((event) => event.kind === kind).length;
  return { visits: count("visit"), presses: count("press"), deposits: count("deposit"), portions: count("portion") };
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
