/** An email as a mail program reads it: enough of RFC 5322, 2045, 2046 and 2047 for what we write. */
export interface ParsedEmail {
  readonly raw: string;
  /** By lower-case name, unfolded and decoded; one that came twice is there twice. */
  readonly headers: ReadonlyMap<string, readonly string[]>;
  readonly subject: string;
  readonly messageId: string;
  /** Bodies by media type, in the order in which they stand. */
  readonly bodies: readonly { readonly type: string; readonly text: string }[];
}

/** @throws Error where it can't be read */
export function parseEmail(raw: string): ParsedEmail {
  const { headers, bodies } = readPart(raw);
  const one = (name: string): string => {
    const values = headers.get(name) ?? [];
    if (values.length !== 1) throw new Error(`expected one ${name}, got ${values.length}`);
    return values[0] as string;
  };
  return { raw, headers, bodies, subject: one("subject"), messageId: one("message-id") };
}

function readPart(raw: string): Pick<ParsedEmail, "headers" | "bodies"> {
  const end = raw.indexOf("\r\n\r\n");
  if (end === -1) throw new Error("expected an empty line after the headers");
  const headers = readHeaders(raw.slice(0, end));
  const body = raw.slice(end + 4);
  const [contentType = "text/plain"] = headers.get("content-type") ?? [];
  const type = contentType.split(";")[0]?.trim().toLowerCase() ?? "";
  if (!type.startsWith("multipart/")) return { headers, bodies: [{ type, text: decoded(body, headers) }] };
  const [, boundary = ""] = /boundary="?([^";]+)"?/.exec(contentType) ?? [];
  const pieces = body.split(`--${boundary}`).slice(1, -1);
  return {
    headers,
    bodies: pieces.flatMap((piece) => readPart(piece.replace(/^\r\n/, "").replace(/\r\n$/, "")).bodies),
  };
}

function readHeaders(text: string): ReadonlyMap<string, readonly string[]> {
  const headers = new Map<string, string[]>();
  for (const line of text.replace(/\r\n[ \t]+/g, " ").split("\r\n")) {
    const [, name, value] = /^([!-9;-~]+):[ \t]*(.*)$/.exec(line) ?? [];
    if (name === undefined || value === undefined) throw new Error(`expected a header, got ${JSON.stringify(line)}`);
    const key = name.toLowerCase();
    headers.set(key, [...(headers.get(key) ?? []), words(value)]);
  }
  return headers;
}

/** Encoded words (RFC 2047); the space between two of them is none. */
const words = (value: string): string =>
  value
    .replace(/(\?=)\s+(=\?)/g, "$1$2")
    .replace(/=\?([\w-]+)\?([bq])\?([^?]*)\?=/gi, (_, _charset: string, way: string, text: string) =>
      way.toLowerCase() === "b" ? Buffer.from(text, "base64").toString("latin1") : quoted(text.replaceAll("_", " ")),
    )
    .replace(/[\u0080-\u00ff]+/g, (octets) => Buffer.from(octets, "latin1").toString("utf8"));

function decoded(body: string, headers: ParsedEmail["headers"]): string {
  switch (headers.get("content-transfer-encoding")?.[0]?.toLowerCase()) {
    case "base64":
      return Buffer.from(body, "base64").toString("utf8");
    case "quoted-printable":
      return Buffer.from(quoted(body.replace(/=\r\n/g, "")), "latin1")
        .toString("utf8")
        .replaceAll("\r\n", "\n");
    default:
      return body.replaceAll("\r\n", "\n");
  }
}

/** As octets, one a character. */
const quoted = (text: string): string =>
  text.replace(/=([0-9A-F]{2})/gi, (_, octet: string) => String.fromCharCode(Number.parseInt(octet, 16)));
