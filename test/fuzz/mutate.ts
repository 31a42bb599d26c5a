import type { RandomSource } from "./randomSource.ts";

/** Small damage to a valid request: to the value, to its text, and to how it is sent. */

const deep = (depth: number) => `${"[".repeat(depth)}${"]".repeat(depth)}`;

const odd: readonly unknown[] = [
  null,
  true,
  false,
  "",
  " ",
  "0",
  "null",
  "\ud800",
  "\udc00\ud800",
  "\u0000",
  "a".repeat(300),
  "b".repeat(70_000),
  "../../etc",
  "__proto__",
  "{{7*7}}",
  "' OR 1=1 --",
  "<script>1</script>",
  [],
  [[]],
  [null],
  {},
  { kind: "portion" },
  { length: 1 },
  { toString: null },
  0,
  -0,
  -1,
  0.1,
  1.5,
  1e-320,
  2 ** 31,
  2 ** 52,
  2 ** 53,
  2 ** 63,
  1e21,
  1.7976931348623157e308,
  -1.7976931348623157e308,
];
const names = [
  "toString",
  "constructor",
  "prototype",
  "length",
  "",
  "a.b",
  "x".repeat(300),
  "\ud800",
  "hoperGrams",
  "passphrase",
];

interface Place {
  readonly holder: Record<string, unknown>;
  readonly name: string;
}

function placesIn(value: unknown, found: Place[] = []): Place[] {
  if (typeof value !== "object" || value === null) return found;
  const holder = value as Record<string, unknown>;
  for (const name of Object.keys(holder)) {
    found.push({ holder, name });
    placesIn(holder[name], found);
  }
  return found;
}

/** Changes `value` in place, or gives another one. */
export function mutateValue(value: unknown, chance: RandomSource): unknown {
  const places = placesIn(value);
  if (places.length === 0 || chance.is(0.03)) return structuredClone(chance.oneOf(odd));
  const { holder, name } = chance.oneOf(places);
  const here = holder[name];
  switch (chance.whole(6)) {
    case 0:
      if (Array.isArray(holder)) holder.splice(Number(name), 1);
      else delete holder[name];
      break;
    case 1:
      holder[Array.isArray(holder) ? String(holder.length) : chance.oneOf(names)] = structuredClone(chance.oneOf(odd));
      break;
    case 2:
      if (typeof here === "number")
        holder[name] = chance.oneOf([-here, here + 1, here - 1, here * 1e9, here + 0.5, `${here}`]);
      else if (Array.isArray(here)) holder[name] = chance.is(0.02) ? Array(2_001).fill(here[0]) : [...here, ...here];
      else holder[name] = [here];
      break;
    case 3: {
      const other = chance.oneOf(places);
      holder[name] = structuredClone(other.holder[other.name]);
      break;
    }
    default:
      holder[name] = structuredClone(chance.oneOf(odd));
  }
  return value;
}

const tokens = [
  "NaN",
  "-Infinity",
  "1e999",
  "-1e999",
  "0x10",
  "007",
  "1.",
  "-",
  "+1",
  "undefined",
  "nan(ind)",
  "9".repeat(400),
  "1e-999",
];

/** Text that no JSON writer makes. */
export function mutateText(text: string, chance: RandomSource): string | Buffer {
  const at = chance.whole(text.length + 1);
  switch (chance.whole(12)) {
    case 0:
      return text.slice(0, at);
    case 1:
      return text.slice(0, at) + text.slice(at + 1 + chance.whole(4));
    case 2:
      return `${text.slice(0, at)}${chance.oneOf(['"', "{", "}", "[", "]", ",", ":", "\\", "\u0000", "\n", "//", "\ufeff"])}${text.slice(at)}`;
    case 3:
      return text.replace(/-?\d+(?:\.\d+)?/g, (number) => (chance.is(0.2) ? chance.oneOf(tokens) : number));
    case 4: // names twice: the last one counts (RFC 8259, 4 leaves it open)
      return text.replace(
        /\{"([^"]*)":/,
        (start, name: string) => `{"${name}":${chance.oneOf(["null", "1", deep(9)])},${start.slice(1)}`,
      );
    case 5:
      return text.replace(/:/, `:${deep(chance.oneOf([20, 2_000, 20_000]))}`).replace(/\]([^,}\]])/, "],$1");
    case 6:
      return deep(chance.oneOf([1_000, 30_000]));
    case 7:
      return text.replace(/"([^"]*)"/g, (whole) =>
        chance.is(0.2) ? chance.oneOf(['"\\ud800"', '"\\u0000"', '"\\u005f_proto__"', '"__proto__"']) : whole,
      );
    case 8:
      return Buffer.concat([
        Buffer.from(text.slice(0, at)),
        Buffer.from([0xff, 0xc0, 0x80]),
        Buffer.from(text.slice(at)),
      ]);
    case 9:
      return Buffer.from(`\ufeff${text}`, chance.oneOf(["utf16le", "utf8", "latin1"]));
    case 10:
      return chance.oneOf(["", " ", "null", "0", '""', "[]", "{}", "\u0000", "{}{}", `${text}${text}`]);
    default:
      return `${text}${chance.oneOf([" ", "\u0000", "x", "}", "\r\n\r\n", ",{}"])}`;
  }
}

export const wrongTypes: readonly string[] = [
  "text/plain",
  "application/xml",
  "application/x-www-form-urlencoded",
  "multipart/form-data; boundary=x",
  "application/json; charset=utf-16",
  "application/json;;;",
  "json",
  "*/*",
  "application/jsonx",
];

export const oddIds: readonly string[] = [
  "%00",
  "%ff",
  "%ed%a0%80",
  "..%2f..%2f",
  "__proto__",
  "a".repeat(128),
  "a".repeat(129),
  "%F0%9F%90%A6",
  "null",
  "0",
  "'",
  "%",
  "*",
];
