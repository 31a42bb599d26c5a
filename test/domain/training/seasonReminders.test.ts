import { describe, expect, it } from "vitest";
import { addLocalDays } from "../../../server/domain/localTime.ts";
import {
  calendarReminders,
  shownReminder,
  weatherReminders,
  weatherSeasonStart,
} from "../../../server/domain/training/seasonReminders.ts";

const place = (latitudeDegrees: number) => ({ latitudeDegrees, longitudeDegrees: 17.8 });
const alderCroft = place(59.5);
const mild = { hardFrost: false, wetWarm: false };

/** Every reminder of two years of daily digests, with its date. */
function twoYears(latitude: number, isSent: (date: string) => boolean = () => true) {
  const said: string[] = [];
  let previous: string | null = "2026-12-31";
  for (let date = "2027-01-01"; date < "2029-01-01"; date = addLocalDays(date, 1)) {
    if (!isSent(date)) continue;
    said.push(...calendarReminders(place(latitude), date, previous).map((reminder) => `${date} ${reminder}`));
    previous = date;
  }
  return said;
}

describe("the reminders of the seasons", () => {
  it("come once a season in the north", () => {
    expect(twoYears(59.5)).toEqual([
      "2027-03-01 winterEnd",
      "2027-03-15 nestlings",
      "2027-12-01 salt",
      "2028-03-01 winterEnd",
      "2028-03-15 nestlings",
      "2028-12-01 salt",
    ]);
  });

  it("come half a year later in the south, also over the new year", () => {
    expect(twoYears(-42)).toEqual([
      "2027-06-01 salt",
      "2027-09-01 winterEnd",
      "2027-09-15 nestlings",
      "2028-06-01 salt",
      "2028-09-01 winterEnd",
      "2028-09-15 nestlings",
    ]);
    expect(shownReminder(place(-42), "2028-01-31", mild)).toBe("nestlings");
    expect(shownReminder(place(-42), "2028-02-01", mild)).toBeNull();
    expect(calendarReminders(place(-42), "2028-01-05", "2027-09-20")).toEqual([]);
    expect(calendarReminders(place(-42), "2028-01-05", "2027-09-10")).toEqual(["nestlings"]);
  });

  it.each([78, 66.6, 23.4, 0, -23.4, -77])(
    "state no nestlings and no winter's end at a latitude of %d°",
    (latitude) => {
      const said = twoYears(latitude);
      expect(said.filter((line) => !line.endsWith(" salt"))).toEqual([]);
      expect(said).toHaveLength(2);
      for (let date = "2027-03-01"; date < "2027-12-01"; date = addLocalDays(date, 1)) {
        expect(["salt", null]).toContain(shownReminder(place(latitude), date, mild));
      }
    },
  );

  it("are said late where the digest of their day was not sent, and not at all where their season is over", () => {
    expect(twoYears(59.5, (date) => date < "2027-02-20" || date > "2027-04-02")[0]).toBe("2027-04-03 nestlings");
  });

  it("that are running come with the first digest of a yard", () => {
    expect(calendarReminders(alderCroft, "2027-05-05", null)).toEqual(["nestlings"]);
  });

  it("that depend on the calendar are not known without a place", () => {
    expect(calendarReminders(null, "2027-05-05", null)).toEqual([]);
    expect(shownReminder(null, "2027-05-05", mild)).toBeNull();
    expect(shownReminder(null, "2027-05-05", { hardFrost: true, wetWarm: true })).toBe("hardFrost");
  });

  it("that the weather asks for come first on a page", () => {
    expect(weatherReminders({ hardFrost: true, wetWarm: true })).toEqual(["hardFrost", "mould"]);
    expect(shownReminder(alderCroft, "2027-01-05", { hardFrost: true, wetWarm: false })).toBe("hardFrost");
    expect(shownReminder(alderCroft, "2027-05-05", { hardFrost: false, wetWarm: true })).toBe("mould");
    expect(shownReminder(alderCroft, "2028-02-29", mild)).toBe("salt");
  });

  it.each([
    ["hardFrost", 59.5, "2027-03-05", "2026-07-01"],
    ["hardFrost", 59.5, "2027-07-01", "2027-07-01"],
    ["hardFrost", -42, "2027-08-05", "2027-01-01"],
    ["mould", 59.5, "2027-08-05", "2027-01-01"],
    ["mould", -42, "2027-02-05", "2026-07-01"],
  ] as const)("count %s at %d° on %s from %s, so that no season is cut in two", (reminder, latitude, date, start) => {
    expect(weatherSeasonStart(reminder, place(latitude), date)).toBe(start);
  });
});
