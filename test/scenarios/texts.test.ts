import { describe, expect, it } from "vitest";
import { orderStateTexts, pauseUntilResumedLabel } from "../../client/text/en/order.ts";
import { confirmedDetail, lastFeedingText } from "../../client/text/en/orderDetail.ts";
import { thisPhoneText } from "../../client/text/en/phonesScreen.ts";
import { reachabilityTexts } from "../../client/text/en/reachabilityStatus.ts";
import { portionText } from "../../server/domain/portionText.ts";
import { grams } from "../../server/domain/units.ts";
import { rowanSettings } from "../domain/rowan.ts";
import {
  claimsConfirmed,
  claimsFeeding,
  claimsKeeperSaid,
  claimsPaused,
  claimsReachable,
  claimsWell,
} from "./texts.ts";

describe("a text about a confirmation", () => {
  it("claims it only where it still holds", () => {
    expect(claimsConfirmed("Pause until resumed: confirmed by the feeder")).toBe(true);
    expect(claimsConfirmed("The feeder confirmed at 07:58.")).toBe(true);
    expect(claimsConfirmed("Pause: not confirmed in time")).toBe(false);
    expect(claimsConfirmed("It confirmed the pause at 07:58, but it was feeding again at 08:03.")).toBe(false);
    expect(claimsConfirmed("It confirmed the pause at 07:58. The feeder confirmed it again.")).toBe(true);
  });
});

/** A check that looks for a wording which no screen has any more would find nothing, whatever a screen claims. */
describe("the present texts", () => {
  it.each<[claim: string, (text: string) => boolean, text: string]>([
    ["OK", claimsWell, "OK: enough until Saturday."],
    ["paused", claimsPaused, "Paused until resumed."],
    ["paused", claimsPaused, "Paused until 16:00."],
    ["confirmed", claimsConfirmed, `${pauseUntilResumedLabel}: ${orderStateTexts.confirmed}`],
    ["confirmed", claimsConfirmed, confirmedDetail("07:58")],
    ["feeding", claimsFeeding, lastFeedingText("07:58")],
    ["reachable", claimsReachable, reachabilityTexts.confirmed],
    ["entered by the keeper", claimsKeeperSaid, portionText(grams(1.5), { ...rowanSettings, portionMass: grams(1.5) })],
    ["this phone", (text) => text.includes("(this phone)"), thisPhoneText],
  ])("claim %s where the checks look for it", (_, claims, text) => {
    expect(claims(text)).toBe(true);
  });

  it.each<[claim: string, (text: string) => boolean, text: string]>([
    ["confirmed", claimsConfirmed, orderStateTexts.sent],
    ["confirmed", claimsConfirmed, orderStateTexts.overdue],
    ["reachable", claimsReachable, reachabilityTexts.lost],
    ["reachable", claimsReachable, reachabilityTexts.unconfirmed],
  ])("do not claim %s where that is not so", (_, claims, text) => {
    expect(claims(text)).toBe(false);
  });
});
