import { resolve } from "node:path";
import { z } from "zod";

/** Everything that the environment decides, read once by main.ts and passed on. */
export interface Config {
  readonly port: number;
  readonly host: string;
  readonly dataDir: string;
  readonly databaseUrl: string; // file:/…/pieward.db
  readonly publicUrl: string | null; // where browsers reach us, if not at host and port
  readonly vapidSubject: string;
  readonly allowPrivatePushEndpoints: boolean;
  readonly reportsPerMinute: number; // per feeder
  readonly keepRawDays: number; // older readings are dropped from the log
  readonly trustProxy: boolean;
  readonly email: EmailConfig | null; // null: no e-mail is sent
  readonly mqtt: MqttConfig | null; // null: no broker is used
  readonly logLevel: "fatal" | "error" | "warn" | "info" | "debug" | "trace" | "silent";
}

export interface EmailConfig {
  readonly host: string;
  readonly port: number;
  /** `fromStart`: smtps. `startTls`: nothing is sent before STARTTLS. `ifOffered`: for this machine itself, or where the keeper sets SMTP_PLAIN. */
  readonly tls: "fromStart" | "startTls" | "ifOffered";
  readonly login: { readonly user: string; readonly password: string } | null;
  readonly from: { readonly name: string; readonly address: string };
}

/** The keeper's own broker. */
export interface MqttConfig {
  readonly host: string;
  readonly port: number;
  readonly secure: boolean; // TLS
  readonly login: { readonly user: string; readonly password: string } | null;
  readonly version: "3.1.1" | "5";
  /** A file with the certificate of the authority that signed the broker's, as PEM; null: the authorities that Node.js knows. */
  readonly caFile: string | null;
}

export class ConfigProblem extends Error {
  override readonly name = "ConfigProblem";
}

const flag = z
  .enum(["true", "false"], "must be true or false")
  .default("false")
  .transform((value) => value === "true");

const environment = z.object({
  PORT: z.coerce.number().int().min(0).max(65_535).default(8080),
  HOST: z.string().min(1).default("0.0.0.0"), // feeders and phones reach us over the home network
  DATA_DIR: z.string().min(1).default("./data"),
  DATABASE_URL: z
    .string()
    .regex(/^file:.+/, "must be file: and a path; other databases are not supported yet")
    .optional(),
  PUBLIC_URL: z
    .url({ protocol: /^https?$/, error: "must be a whole address such as https://pies.example" })
    .transform((url) => url.replace(/\/+$/, ""))
    .optional(),
  VAPID_SUBJECT: z
    .string()
    .regex(/^(mailto:.+@.+|https:\/\/.+)/, "must be a mailto: or https: address, so push services can reach you")
    .optional(),
  ALLOW_PRIVATE_PUSH_ENDPOINTS: flag, // for tests and home laboratories: pushes may go to this network
  REPORTS_PER_MINUTE: z.coerce.number().int().min(1).max(1_000_000).default(120),
  KEEP_RAW_DAYS: z.coerce.number().int().min(7).max(36_500).default(60), // a digest compares a week
  TRUST_PROXY: flag,
  SMTP_URL: z.string().transform(readSmtpUrl).optional(),
  SMTP_PLAIN: flag,
  MAIL_FROM: z.string().transform(readSender).optional(),
  MQTT_URL: z.string().transform(readMqttUrl).optional(),
  MQTT_CA_FILE: z.string().optional(),
  MQTT_VERSION: z.enum(["5", "3.1.1"], "must be 5 or 3.1.1").optional(),
  LOG_LEVEL: z.enum(["fatal", "error", "warn", "info", "debug", "trace", "silent"]).default("info"),
});
/** Problems of several variables together; checked on the raw values, so that they are reported with all others. */
const unpairedVariables = (variables: Record<string, string>): string[] =>
  [...unpairedEmail(variables), ...unpairedBroker(variables)].filter((problem) => problem !== "");

function unpairedEmail({ SMTP_URL, SMTP_PLAIN, MAIL_FROM }: Record<string, string>): string[] {
  return [
    SMTP_URL && !MAIL_FROM ? "MAIL_FROM: must be set with SMTP_URL: the sender of all e-mails" : "",
    MAIL_FROM && !SMTP_URL ? "SMTP_URL: must be set with MAIL_FROM: the server that sends e-mails" : "",
    SMTP_PLAIN === "true" && !SMTP_URL ? "SMTP_PLAIN: has no meaning without SMTP_URL" : "",
    SMTP_PLAIN === "true" && /^smtps:/i.test(SMTP_URL ?? "")
      ? "SMTP_PLAIN: must not be true where SMTP_URL is smtps:"
      : "",
  ];
}

function unpairedBroker({ MQTT_URL, MQTT_CA_FILE, MQTT_VERSION }: Record<string, string>): string[] {
  return [
    MQTT_VERSION && !MQTT_URL ? "MQTT_VERSION: has no meaning without MQTT_URL" : "",
    MQTT_CA_FILE && !/^mqtts:/i.test(MQTT_URL ?? "") ? "MQTT_CA_FILE: has no meaning unless MQTT_URL is mqtts:" : "",
  ];
}

/** @throws ConfigProblem naming every variable that needs attention, all at once. */
export function readConfig(variables: Record<string, string | undefined>): Config {
  // An empty variable is how shells and service files say "not set".
  const request = Object.fromEntries(
    Object.entries(variables).flatMap(([name, value]) => (value ? [[name, value]] : [])),
  );
  const read = environment.safeParse(request);
  const issues = read.error?.issues.map((issue) => `${issue.path.join(".")}: ${issue.message}`) ?? [];
  const problems = [...issues, ...unpairedVariables(request)];
  if (!read.success || problems.length > 0) {
    throw new ConfigProblem(["The configuration needs attention:", ...problems.map((line) => `  ${line}`)].join("\n"));
  }
  const env = read.data;
  const dataDir = resolve(env.DATA_DIR);
  return {
    port: env.PORT,
    host: env.HOST,
    dataDir,
    databaseUrl: env.DATABASE_URL ?? `file:${resolve(dataDir, "pieward.db")}`,
    publicUrl: env.PUBLIC_URL ?? null,
    vapidSubject: env.VAPID_SUBJECT ?? vapidSubjectFor(env.PUBLIC_URL),
    allowPrivatePushEndpoints: env.ALLOW_PRIVATE_PUSH_ENDPOINTS,
    reportsPerMinute: env.REPORTS_PER_MINUTE,
    keepRawDays: env.KEEP_RAW_DAYS,
    trustProxy: env.TRUST_PROXY,
    email: env.SMTP_URL && env.MAIL_FROM ? emailConfig(env.SMTP_URL, env.MAIL_FROM, env.SMTP_PLAIN) : null,
    mqtt: env.MQTT_URL ? mqttConfig(env.MQTT_URL, env.MQTT_VERSION, env.MQTT_CA_FILE) : null,
    logLevel: env.LOG_LEVEL,
  };
}

/** RFC 8292 asks for a contact. A server with an https address of its own is its own contact. */
function vapidSubjectFor(publicUrl: string | undefined): string {
  return publicUrl?.startsWith("https://") ? publicUrl : "mailto:keeper@example.com";
}

// --- e-mail and broker ----------------------------------------------------------------------------------------------

type SmtpServer = Pick<EmailConfig, "host" | "port" | "login"> & { readonly secure: boolean };

/** The ports: RFC 6409 section 3.1, RFC 8314 section 3.3. */
function readSmtpUrl(text: string, context: z.RefinementCtx): SmtpServer {
  return readServerUrl(text, context, { plain: "smtp", secure: "smtps", plainPort: 587, securePort: 465 });
}

/** The ports are registered with IANA: mqtt and secure-mqtt. */
function readMqttUrl(text: string, context: z.RefinementCtx): MqttServer {
  return readServerUrl(text, context, { plain: "mqtt", secure: "mqtts", plainPort: 1883, securePort: 8883 });
}

interface UrlSchemes {
  readonly plain: string;
  readonly secure: string;
  readonly plainPort: number;
  readonly securePort: number;
}

/** No message here may repeat the value: it holds a password, and problems are logged. */
function readServerUrl(text: string, context: z.RefinementCtx, schemes: UrlSchemes): SmtpServer {
  const wrong = (message: string) => {
    context.addIssue({ code: "custom", message });
    return z.NEVER;
  };
  const url = URL.canParse(text) ? new URL(text) : null;
  const usualPort = url === null || url.hostname === "" ? null : usualPortOf(url, schemes);
  if (url === null || usualPort === null) {
    return wrong(
      `must be ${schemes.plain}:// or ${schemes.secure}:// with user, password, host and port; escape special characters in them as in any URL`,
    );
  }
  if (!/^\/?$/.test(url.pathname) || url.search !== "" || url.hash !== "") {
    return wrong("must end with the host and its port");
  }
  const login = readLogin(url);
  if (login.kind === "wrong") return wrong(login.problem);
  return {
    host: url.hostname.replace(/^\[|\]$/g, ""), // an IPv6 address is in brackets in a URL, and nowhere else
    port: url.port === "" ? usualPort : Number(url.port),
    secure: usualPort === schemes.securePort,
    login: login.login,
  };
}

/** @returns null for another scheme */
function usualPortOf({ protocol }: URL, { plain, secure, plainPort, securePort }: UrlSchemes): number | null {
  if (protocol === `${secure}:`) return securePort;
  return protocol === `${plain}:` ? plainPort : null;
}

type LoginResult =
  | { readonly kind: "read"; readonly login: SmtpServer["login"] }
  | { readonly kind: "wrong"; readonly problem: string };

function readLogin({ username, password }: URL): LoginResult {
  if (username === "" && password === "") return { kind: "read", login: null };
  if (username === "" || password === "") {
    return { kind: "wrong", problem: "must have both user and password, or neither" };
  }
  const login = { user: unescapePart(username), password: unescapePart(password) };
  if (login.user === null || login.password === null) {
    const problem = "has a % in user or password that escapes nothing; write %25 for the character itself";
    return { kind: "wrong", problem };
  }
  return { kind: "read", login: { user: login.user, password: login.password } };
}

function unescapePart(text: string): string | null {
  try {
    return decodeURIComponent(text);
  } catch {
    return null; // the caller reports it
  }
}

/** `address` or `Name <address>`. */
function readSender(text: string, context: z.RefinementCtx): EmailConfig["from"] {
  const [, name = "", inBrackets] = /^([^<>\p{Cc}"]*)<([^<>]*)>$/u.exec(text.trim()) ?? [];
  const address = inBrackets ?? text.trim();
  if (!/^[^\s\p{Cc}@<>,;:"()[\]\\]+@[^\s\p{Cc}@<>,;:"()[\]\\]+$/u.test(address)) {
    context.addIssue({ code: "custom", message: "must be an e-mail address, such as Pieward <pieward@pies.example>" });
    return z.NEVER;
  }
  return { name: name.trim() || "Pieward", address };
}

function emailConfig({ secure, ...server }: SmtpServer, from: EmailConfig["from"], plain: boolean): EmailConfig {
  const tls = secure ? "fromStart" : plain || isThisMachine(server.host) ? "ifOffered" : "startTls";
  return { ...server, tls, from };
}

type MqttServer = Omit<MqttConfig, "version" | "caFile">;

const mqttConfig = (server: MqttServer, version: MqttConfig["version"] = "5", caFile?: string): MqttConfig => ({
  ...server,
  version,
  caFile: caFile === undefined ? null : resolve(caFile),
});

/** What never leaves the machine needs no TLS, and such a mail server seldom has a certificate with its name. */
const isThisMachine = (host: string): boolean => /^(localhost|127(\.\d{1,3}){3}|::1)$/i.test(host);
