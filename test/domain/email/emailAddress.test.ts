import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { isEmailAddress } from "../../../server/domain/email/emailAddress.ts";

describe("a mail address", () => {
  it.each([
    "ada@example.org",
    "ada.of.alder+birds@mail.example.org",
    "o'brian@example.org",
    "bo@mailbox", // a machine of the home network
    "cilla@skatbo.exämple",
  ])("can be %s", (address) => {
    expect(isEmailAddress(address)).toBe(true);
  });

  it.each([
    "",
    "ada",
    "@example.org",
    "ada@",
    "ada@@example.org",
    "ada bo@example.org",
    "ada@example.org,bo@example.org",
    "ada@example.org\r\nBcc: bo@example.org",
    "Ada <ada@example.org>",
    '"ada"@example.org',
    "ada@example..org",
    "ada@-example.org",
    ".ada@example.org",
    "ada.@example.org",
    "ada@[192.0.2.1]",
    "ada@example.org\n",
    "ada@example.org\u0000",
    `${"a".repeat(65)}@example.org`,
    `ada@${"a.".repeat(125)}org`,
  ])("can't be %j", (address) => {
    expect(isEmailAddress(address)).toBe(false);
  });

  it("has at most 64 characters before the @ and 254 in all (RFC 5321 section 4.5.3.1, with its angle brackets 256)", () => {
    const local = (length: number) => `${"a".repeat(length)}@example.org`;
    expect([local(64), local(65)].map(isEmailAddress)).toEqual([true, false]);
    // Labels of a host name have 63 characters at most.
    const whole = (length: number) => `ada@${`${"b".repeat(62)}.`.repeat(3)}${"c".repeat(length - 4 - 3 * 63)}`;
    expect([254, 255].map((length) => whole(length).length)).toEqual([254, 255]);
    expect([whole(252), whole(254), whole(255)].map(isEmailAddress)).toEqual([true, true, false]);
  });

  it("never holds what would part it in two or begin a header", () => {
    fc.assert(
      fc.property(
        fc.string({ unit: "binary" }),
        fc.constantFrom("\r", "\n", " ", ",", ";", "<", ">", "\0"),
        (text, sign) => {
          expect(isEmailAddress(`ada${sign}${text}@example.org`)).toBe(false);
          expect(isEmailAddress(`ada@example${sign}${text}.org`)).toBe(false);
        },
      ),
    );
  });
});
