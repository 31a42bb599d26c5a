import { resolve } from "node:path";
import { describe, expect, it } from "vitest";
import { ConfigProblem, readConfig } from "../server/config.ts";

describe("the configuration", () => {
  it("has an answer for everything that the environment doesn't say", () => {
    expect(readConfig({})).toEqual({
      port: 8080,
      host: "0.0.0.0",
      dataDir: resolve("data"),
      databaseUrl: `file:${resolve("data", "pieward.db")}`,
      publicUrl: null,
      vapidSubject: "mailto:keeper@example.com",
      allowPrivatePushEndpoints: false,
      reportsPerMinute: 120,
      trustProxy: false,
      logLevel: "info",
    });
  });

  it("takes an empty variable for one that isn't set", () => {
    const names = ["PORT", "HOST", "DATA_DIR", "DATABASE_URL", "PUBLIC_URL", "VAPID_SUBJECT", "REPORTS_PER_MINUTE"];
    const flags = ["ALLOW_PRIVATE_PUSH_ENDPOINTS", "TRUST_PROXY", "LOG_LEVEL"];
    expect(readConfig(Object.fromEntries([...names, ...flags].map((name) => [name, ""])))).toEqual(readConfig({}));
  });

  it("passes over variables that aren't ours", () => {
    expect(readConfig({ SHELL: "sh", TERM: "dumb" })).toEqual(readConfig({}));
  });

  it("takes what it is told", () => {
    const config = readConfig({
      PORT: "0",
      HOST: "127.0.0.1",
      DATA_DIR: "/srv/pies",
      DATABASE_URL: "file:/srv/elsewhere.db",
      PUBLIC_URL: "https://pies.example///",
      VAPID_SUBJECT: "mailto:me@pies.example",
      ALLOW_PRIVATE_PUSH_ENDPOINTS: "true",
      REPORTS_PER_MINUTE: "6000",
      TRUST_PROXY: "true",
      LOG_LEVEL: "silent",
    });
    expect(config).toEqual({
      port: 0,
      host: "127.0.0.1",
      dataDir: "/srv/pies",
      databaseUrl: "file:/srv/elsewhere.db",
      publicUrl: "https://pies.example",
      vapidSubject: "mailto:me@pies.example",
      allowPrivatePushEndpoints: true,
      reportsPerMinute: 6000,
      trustProxy: true,
      logLevel: "silent",
    });
  });

  it("keeps the database in the data folder unless told otherwise", () => {
    expect(readConfig({ DATA_DIR: "/srv/pies" }).databaseUrl).toBe("file:/srv/pies/pieward.db");
  });

  it("gives push services its own https address to reach it by, as RFC 8292 asks for one", () => {
    expect(readConfig({ PUBLIC_URL: "https://pies.example" }).vapidSubject).toBe("https://pies.example");
    expect(readConfig({ PUBLIC_URL: "http://192.0.2.7" }).vapidSubject).toBe("mailto:keeper@example.com");
  });

  it("names all that is wrong at once", () => {
    const problem = problemWith({
      PORT: "seventy",
      DATABASE_URL: "postgresql://pies",
      PUBLIC_URL: "pies.example",
      VAPID_SUBJECT: "me",
      ALLOW_PRIVATE_PUSH_ENDPOINTS: "yes",
      REPORTS_PER_MINUTE: "0",
      TRUST_PROXY: "1",
      LOG_LEVEL: "loud",
    });
    const [first, ...lines] = problem.split("\n");
    expect(first).toBe("The configuration needs attention:");
    expect(lines.map((line) => line.split(":")[0]?.trim())).toEqual([
      "PORT",
      "DATABASE_URL",
      "PUBLIC_URL",
      "VAPID_SUBJECT",
      "ALLOW_PRIVATE_PUSH_ENDPOINTS",
      "REPORTS_PER_MINUTE",
      "TRUST_PROXY",
      "LOG_LEVEL",
    ]);
    expect(problem).toContain("VAPID_SUBJECT: must be a mailto: or https: address, so push services can reach you");
    expect(problem).toContain("PUBLIC_URL: must be a whole address such as https://pies.example");
    expect(problem).toContain("TRUST_PROXY: must be true or false");
  });

  it.each([
    ["PORT", "-1"],
    ["PORT", "65536"],
    ["PORT", "80.5"],
    ["PUBLIC_URL", "ftp://pies.example"],
    ["VAPID_SUBJECT", "mailto:me"],
    ["VAPID_SUBJECT", "http://pies.example"],
  ])("refuses %s=%s", (name, value) => {
    expect(problemWith({ [name]: value })).toMatch(new RegExp(`^The configuration needs attention:\n {2}${name}: .+$`));
  });
});

function problemWith(variables: Record<string, string>): string {
  try {
    readConfig(variables);
  } catch (error) {
    if (error instanceof ConfigProblem) return error.message;
    throw error;
  }
  throw new Error("expected a ConfigProblem, got a configuration");
}
