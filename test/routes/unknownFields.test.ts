import { describe, expect, it } from "vitest";
import { requestAs } from "../support/people.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** A field that no request has. If it were accepted, its sender would believe that it did something. */
const unknown = "surprise";

interface Schema {
  readonly additionalProperties?: unknown;
  readonly properties?: Readonly<Record<string, Schema>>;
  readonly items?: Schema;
  readonly anyOf?: readonly Schema[];
  readonly oneOf?: readonly Schema[];
  readonly allOf?: readonly Schema[];
}
interface Route {
  readonly method: string;
  readonly path: string;
  readonly body: Schema | undefined;
}

/** The feeders' own routes accept unknown fields: a feeder of a newer version may send more than this server knows. */
const notKeepers = new Set(["POST /api/v1/report", "POST /api/v1/stills", "GET /api/v1/link", "GET /api/v1/health"]);

/** The body is the picture itself, or a record, and has no fields. */
const takesPicture = new Set([
  "POST /api/v1/yards/{yard}/notes/{note}/photos",
  "POST /api/v1/yards/{yard}/training/import",
]);

/** Every keeper's route, from the server's own document of all its routes. */
async function keepersRoutes(server: TestServer): Promise<Route[]> {
  const { paths } = (await server.app.inject({ url: "/api/docs/json" })).json();
  return Object.entries(
    paths as Record<string, Record<string, { requestBody?: { content: Record<string, { schema: Schema }> } }>>,
  )
    .flatMap(([path, methods]) =>
      Object.entries(methods).map(([method, operation]) => ({
        method: method.toUpperCase(),
        path,
        body: operation.requestBody?.content["application/json"]?.schema,
      })),
    )
    .filter(({ method, path }) => !notKeepers.has(`${method} ${path}`));
}

/** The paths of the objects in a schema that accept unknown fields. */
function openObjects(schema: Schema, at = "body"): string[] {
  const own = schema.properties !== undefined && schema.additionalProperties !== false ? [at] : [];
  const parts = [...(schema.anyOf ?? []), ...(schema.oneOf ?? []), ...(schema.allOf ?? [])];
  return [
    ...own,
    ...Object.entries(schema.properties ?? {}).flatMap(([name, part]) => openObjects(part, `${at}.${name}`)),
    ...(schema.items ? openObjects(schema.items, `${at}[]`) : []),
    ...parts.flatMap((part) => openObjects(part, at)),
  ];
}

/** WebAuthn defines the fields of a passkey and may add others: those that nothing here reads are left out, not refused. */
const byBrowser = / body\.credential(\.response)?$/;

describe("a keeper's request with a field that it doesn't have", () => {
  it("is refused by every route, in the body and in the address, and the refusal names the field", async () => {
    const server = await openTestServer();
    const { feeder } = await server.addFeeder();
    const named: Record<string, string> = { yard: server.yard, feeder: feeder.id, fault: "foodLow" };
    const routes = await keepersRoutes(server);
    expect(routes.length).toBeGreaterThan(45);
    for (const { method, path } of routes) {
      const url = path.replace(/\{(\w+)\}/g, (_, name: string) => named[name] ?? name);
      const send = (to: string, body?: object) => requestAs(server, method as "POST", to, server.keeper, body);
      const inAddress = await send(`${url}?${unknown}=1`);
      const named_ = (answer: typeof inAddress) =>
        (answer.json().errors ?? []).map((one: { field: string }) => one.field);
      expect([method, path, inAddress.statusCode]).toEqual([method, path, 400]);
      if (method === "GET") expect([path, named_(inAddress)]).toEqual([path, expect.arrayContaining([unknown])]);
      if (method === "GET" || takesPicture.has(`${method} ${path}`)) continue;
      const inBody = await send(url, { [unknown]: 1 });
      expect([method, path, inBody.statusCode]).toEqual([method, path, 400]);
      expect([method, path, named_(inBody)]).toEqual([method, path, expect.arrayContaining([unknown])]);
    }
    expect((await server.runPeriodicCheck(feeder.id)).name).toBe("Rowan"); // nothing was done
  });

  it("is refused inside of objects too: no schema of a body accepts unknown fields", async () => {
    const open = (await keepersRoutes(await openTestServer())).flatMap(({ method, path, body }) =>
      body === undefined ? [] : openObjects(body).map((at) => `${method} ${path} ${at}`),
    );
    expect(open.filter((at) => !byBrowser.test(at))).toEqual([]);
    expect(openObjects({ properties: { deep: { properties: {} } }, additionalProperties: false })).toEqual([
      "body.deep",
    ]);
  });

  it("changes nothing, also beside fields that are right", async () => {
    const server = await openTestServer();
    const passphrase = await requestAs(server, "PATCH", "/api/v1/me", server.keeper, {
      passphrase: "nine loud summers",
    });
    expect([passphrase.statusCode, passphrase.json().errors]).toEqual([
      400,
      [{ field: "passphrase", problem: "is not known here" }],
    ]);
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8, heightMetres: 20 };
    const yard = await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, {
      name: "Alder Croft",
      place,
    });
    expect(yard.json().errors).toEqual([{ field: "place.heightMetres", problem: "is not known here" }]);
    const home = (await requestAs(server, "GET", "/api/v1/home", server.keeper)).json();
    expect(home.yards[0].name).toBe("My yard");
  });
});
