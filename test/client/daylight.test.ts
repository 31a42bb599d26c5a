import { describe, expect, it } from "vitest";
import { daylight } from "../../client/charts/daylight.ts";
import { shiftDate, zonedInstant } from "../../client/text/clock.ts";
import { instantOf } from "../../server/domain/instant.ts";
import { lightSpans } from "../../server/domain/sun.ts";

const alderCroft = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const threeMinutes = 3 * 60_000;

/** The server's spans of a local day. */
function serverLight(place: typeof alderCroft, date: string, zone: string) {
  const [from, to] = [zonedInstant(date, "00:00", zone), zonedInstant(shiftDate(date, 1), "00:00", zone)];
  const spans = lightSpans(place, instantOf(from), instantOf(to));
  const extent = (kinds: readonly string[]) => {
    const of = spans.filter(({ kind }) => kinds.includes(kind));
    return of.length === 0 ? null : { from: of[0]?.from ?? 0, to: of.at(-1)?.to ?? 0 };
  };
  return { day: extent(["day"]), lit: extent(["day", "twilight"]) };
}

describe("the daylight of a drawing", () => {
  it("is the server's within three minutes through a year, over both changes of the clock", () => {
    let compared = 0;
    for (let date = "2026-01-01"; date < "2027-01-01"; date = shiftDate(date, 3)) {
      const [own, server] = [
        daylight(alderCroft, date, "Europe/Stockholm"),
        serverLight(alderCroft, date, "Europe/Stockholm"),
      ];
      for (const kind of ["day", "lit"] as const) {
        // In early summer dusk comes after midnight, and the local day has the end of one night in it and no other.
        if (
          own[kind] === null ||
          server[kind] === null ||
          (kind === "lit" && date > "2026-05-15" && date < "2026-08-01")
        )
          continue;
        expect(Math.abs(own[kind].from - server[kind].from), `${date} ${kind} from`).toBeLessThan(threeMinutes);
        expect(Math.abs(own[kind].to - server[kind].to), `${date} ${kind} to`).toBeLessThan(threeMinutes);
        compared += 1;
      }
    }
    expect(compared).toBeGreaterThan(200);
  });

  it("has no day in the polar night, all of the day in its summer, and works west of Greenwich", () => {
    const north = { latitudeDegrees: 70, longitudeDegrees: 25 };
    expect(daylight(north, "2026-12-21", "Europe/Helsinki").day).toBeNull();
    expect(daylight({ ...north, latitudeDegrees: 85 }, "2026-12-21", "Europe/Helsinki").lit).toBeNull();
    const { day } = daylight(north, "2026-06-21", "Europe/Helsinki");
    expect((day?.to ?? 0) - (day?.from ?? 0)).toBe(86_400_000);
    const west = { latitudeDegrees: 45, longitudeDegrees: -122 };
    const [own, server] = [
      daylight(west, "2026-11-03", "America/Los_Angeles"),
      serverLight(west, "2026-11-03", "America/Los_Angeles"),
    ];
    expect(Math.abs((own.day?.from ?? 0) - (server.day?.from ?? 0))).toBeLessThan(threeMinutes);
  });
});
