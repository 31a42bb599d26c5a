import { resolve } from "node:path";
import { z } from "zod";

/** Everything that the environment decides, read once by main.ts and handed on. */
export interface Config {
  readonly port: number;
  readonly host: string;
  readonly dataDir: string;
  readonly databaseUrl: string; // file:/…/pieward.db
  readonly publicUrl: string | null; // where browsers reach us, if not at host and port
  readonly vapidSubject: string;
  readonly allowPrivatePushEndpoints: boolean;
  readonly reportsPerMinute: number; // per feeder
  readonly trustProxy: boolean;
  readonly logLevel: "fatal" | "error" | "warn" | "info" | "debug" | "trace" | "silent";
}

export class ConfigProblem extends Error {
  override readonly name = "ConfigProblem";
}

const flag = z
  .enum(["true", "false"], "must be true or false")
  .default("false")
  .transform((word) => word === "true");

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
  TRUST_PROXY: flag,
  LOG_LEVEL: z.enum(["fatal", "error", "warn", "info", "debug", "trace", "silent"]).default("info"),
});

/** @throws ConfigProblem naming every variable that needs attention, all at once. */
export function readConfig(variables: Record<string, string | undefined>): Config {
  // An empty variable is how shells and service files say "not set".
  const said = Object.fromEntries(Object.entries(variables).filter(([, value]) => value !== undefined && value !== ""));
  const read = environment.safeParse(said);
  if (!read.success) {
    const lines = read.error.issues.map((issue) => `  ${issue.path.join(".")}: ${issue.message}`);
    throw new ConfigProblem(`The configuration needs attention:\n${lines.join("\n")}`);
  }
  const env = read.data;
  const dataDir = resolve(env.DATA_DIR);
  return {
    port: env.PORT,
    host: env.HOST,
    dataDir,
    databaseUrl: env.DATABASE_URL ?? `file:${resolve(dataDir, "pieward.db")}`,
    publicUrl: env.PUBLIC_URL ?? null,
    vapidSubject: env.VAPID_SUBJECT ?? subjectFor(env.PUBLIC_URL),
    allowPrivatePushEndpoints: env.ALLOW_PRIVATE_PUSH_ENDPOINTS,
    reportsPerMinute: env.REPORTS_PER_MINUTE,
    trustProxy: env.TRUST_PROXY,
    logLevel: env.LOG_LEVEL,
  };
}

/** RFC 8292 asks for a contact. A server with an https address of its own is its own contact. */
function subjectFor(publicUrl: string | undefined): string {
  return publicUrl?.startsWith("https://") ? publicUrl : "mailto:keeper@example.com";
}
