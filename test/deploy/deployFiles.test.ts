import { existsSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { readConfig } from "../../server/config.ts";

const read = (path: string) => readFileSync(`deploy/${path}`, "utf8");

describe("the deploy files", () => {
  it("set only what the configuration knows and accepts", () => {
    const settings = [...read("service/pieward.service").matchAll(/^Environment=(\w+)=(.*)$/gm)];
    const variables = Object.fromEntries(settings.map(([, name = "", value = ""]) => [name, value]));
    expect(Object.keys(variables).sort()).toEqual([
      "DATA_DIR",
      "HOST",
      "MALLOC_ARENA_MAX",
      "NODE_ENV",
      "PORT",
      "PUBLIC_URL",
      "TRUST_PROXY",
    ]);
    expect(readConfig(variables)).toMatchObject({ host: "127.0.0.1", port: 8080, trustProxy: true });
    const image = /^ENV (.*)$/m.exec(read("container/Containerfile"))?.[1] ?? "";
    const inImage = Object.fromEntries(image.split(" ").map((pair) => pair.split("=") as [string, string]));
    expect(readConfig(inImage)).toMatchObject({ host: "0.0.0.0", port: 8080, dataDir: "/data" });
  });

  it("show how e-mail is configured by an example that the server accepts", () => {
    const [, example = ""] = /```sh\n# server\.env\n(.*?)```/s.exec(read("README.md")) ?? [];
    const lines = [...example.matchAll(/^(\w+)=(.*)$/gm)].map(([, name = "", value = ""]) => [name, value]);
    const { email, publicUrl } = readConfig(Object.fromEntries(lines));
    expect(email).toEqual({
      host: "smtp.mail.example",
      port: 587,
      tls: "startTls",
      login: { user: "you@mail.example", password: "its-password" },
      from: { name: "Pieward", address: "you@mail.example" },
    });
    expect(publicUrl).toBe("https://pieward.example");
    expect(read("service/pieward.service")).toContain("EnvironmentFile=-/etc/pieward/server.env");
    // It contains a password, so it is in no file that others can read.
    for (const file of ["service/pieward.service", "container/Containerfile"])
      expect(read(file)).not.toMatch(/smtps?:/);
  });

  it("show how a broker is configured by an example that the server accepts", () => {
    const [, example = ""] = /```sh\n# server\.env, the lines for a broker\n(.*?)```/s.exec(read("README.md")) ?? [];
    const lines = [...example.matchAll(/^(\w+)=(.*)$/gm)].map(([, name = "", value = ""]) => [name, value]);
    expect(readConfig(Object.fromEntries(lines)).mqtt).toEqual({
      ...{ host: "broker.example", port: 8883, secure: true, version: "5" },
      ...{ login: { user: "pieward", password: "its-password" }, caFile: "/etc/ssl/certs/home-authority.pem" },
    });
    expect(read("broker/pieward.conf")).toMatch(/^allow_anonymous false$/m);
    expect(read("broker/pieward.conf")).not.toMatch(/^listener 1883/m); // only with TLS
  });

  it("start the file that the build makes, and use the health route that the server has", () => {
    const scripts = JSON.parse(readFileSync("package.json", "utf8")).scripts as Record<string, string>;
    expect(scripts.start).toContain("dist/server/main.js");
    for (const file of ["service/pieward.service", "container/Containerfile"]) {
      expect(read(file)).toContain("dist/server/main.js");
    }
    const health = /127\.0\.0\.1:\$\{process\.env\.PORT\}(\/[\w/]+)/.exec(read("container/Containerfile"))?.[1];
    expect(health).toBe("/api/v1/health");
    expect(readFileSync("server/app.ts", "utf8")).toContain(`"${health}"`);
  });

  it("limit the memory as npm start does, well below the memory that they allow", () => {
    const scripts = JSON.parse(readFileSync("package.json", "utf8")).scripts as Record<string, string>;
    const bounds = (text: string) =>
      [...text.matchAll(/--max-(?:old|semi)-space-size=\d+|--liftoff-only|MALLOC_ARENA_MAX=\d+/g)]
        .map(([bound]) => bound)
        .sort();
    expect(bounds(scripts.start ?? "")).toHaveLength(4);
    for (const file of ["service/pieward.service", "container/Containerfile"]) {
      expect(bounds(read(file)), file).toEqual(bounds(scripts.start ?? ""));
    }
    expect(read("service/pieward.service")).toContain("MemoryMax=512M");
    expect(read("container/Containerfile")).toContain("--memory 512m");
  });

  it("copy into the image only files that exist", () => {
    const lines = [...read("container/Containerfile").matchAll(/^COPY (?:--from=build )?(.*) \S+$/gm)];
    const copied = lines.flatMap(([, paths = ""]) => paths.split(" ").map((path) => path.replace(/^\/pieward\//, "")));
    expect(copied).toContain("server");
    for (const path of copied)
      if (path !== "dist" && path !== "node_modules") expect(existsSync(path), path).toBe(true);
  });

  it("let proxies pass sockets, require HTTPS, and pass reports as large as the server accepts", () => {
    expect(read("proxy/nginx.conf")).toMatch(/proxy_set_header Upgrade \$http_upgrade/);
    for (const file of ["proxy/nginx.conf", "proxy/Caddyfile"]) {
      expect(read(file)).toMatch(/Strict-Transport-Security "?max-age=\d{7,}/);
      expect(read(file)).toMatch(/(client_max_body_size|max_size) 2/);
    }
  });
});
