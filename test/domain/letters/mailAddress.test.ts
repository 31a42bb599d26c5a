import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { isMailAddress } from "../../../server/domain/letters/mailAddress.ts";

describe("a mail address", () => {
  it.each([
    "ada@example.org",
    "ada.of.alder+birds@mail.example.org",
    "o'brian@example.org",
    "bo@mailbox", // a machine of the home network
    "cilla@skatbo.exämple",
  ])("can be %s", (address) => {
    expect(isMailAddress(address)).toBe(true);
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
    expect(isMailAddress(address)).toBe(false);
  });

  it("never holds what would part it in two or begin a header", () => {
    fc.assert(
      fc.property(
        fc.string({ unit: "binary" }),
        fc.constantFrom("\r", "\n", " ", ",", ";", "<", ">", "\0"),
        (text, sign) => {
          expect(isMailAddress(`ada${sign}${text}@example.org`)).toBe(false);
          expect(isMailAddress(`ada@example${sign}${text}.org`)).toBe(false);
        },
      ),
    );
  });
});
