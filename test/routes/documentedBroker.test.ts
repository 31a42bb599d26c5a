import { readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { mqttMessageSchemas } from "../../server/contract/mqttMessages.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { texts } from "../../server/text/index.ts";
import { addBrokerFeeder, openBrokerServer } from "../support/brokerServer.ts";
import { documentedPage } from "../support/documentedPage.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { projectFolder } from "../support/imports.ts";
import { requestAs } from "../support/people.ts";

/** What the documentation's page states about the broker, tried at a broker. */

async function openPage(reportsPerMinute = 1) {
  const { server, broker } = await openBrokerServer({ reportsPerMinute });
  const rowan = await addBrokerFeeder(server, broker);
  const page = await documentedPage(server);
  const shown = (name: string) => JSON.parse(page.example(`mqtt-${name}-example`));
  /** The page's own report, signed for this feeder as the page says. */
  const report = (body: string) => {
    const [line = ""] = page.example("mqtt-report-example").split("\n");
    const { time = "", mac = "" } = /time="(?<time>\d+)", mac="(?<mac>[^"]+)"/.exec(line)?.groups ?? {};
    const own = signatureOf(hashOf(rowan.key), time, body);
    return `${line.replace(/feeder="[^"]+"/, `feeder="${rowan.id}"`).replace(mac, own)}\n${body}`;
  };
  return { server, broker, rowan, page, shown, report };
}

describe("each message on the page", () => {
  it("is as the page shows: a report with its answer, and a refusal", async () => {
    const { rowan, page, shown, report } = await openPage();
    const feeder = await rowan.connect();
    const [line, body = ""] = page.example("mqtt-report-example").split("\n");
    expect(`Authorization: ${line}`).toBe(page.example("signature-header"));
    expect(body).toBe(/^body +(.+)$/m.exec(page.example("signature-parts"))?.[1]);
    await feeder.publish(report(page.example("report-example")));
    const { packet: _, ...taken } = await feeder.next("answer");
    const ofThisFeeder = { nonce: taken.nonce, to: taken.to };
    expect(mqttMessageSchemas.answer.strict().parse(taken)).toEqual({ ...shown("answer"), ...ofThisFeeder });
    await feeder.publish(report(page.example("report-example")));
    const { packet: __, ...refused } = await feeder.next("answer");
    expect(mqttMessageSchemas.problem.strict().parse(refused)).toEqual({
      ...shown("problem"),
      nonce: refused.nonce,
      to: refused.to,
    });
  });

  it("is as the page shows: orders and a plan", async () => {
    const { server, rowan, shown } = await openPage();
    const { id, kind } = shown("orders").orders[0];
    await requestAs(server, "POST", `/api/v1/feeders/${rowan.id}/orders`, server.keeper, { id, kind });
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    await requestAs(server, "PATCH", `/api/v1/feeders/${rowan.id}`, server.keeper, { feeding: feedingExample });
    const feeder = await rowan.connect();
    const { packet: _, ...orders } = await feeder.next("orders");
    expect(mqttMessageSchemas.orders.strict().parse(orders)).toEqual(shown("orders"));
    const { packet: __, ...plan } = await feeder.next("plan");
    expect(Object.keys(mqttMessageSchemas.plan.strict().parse(plan))).toEqual(Object.keys(shown("plan")));
    expect([plan.until, Object.keys(plan.plan)]).toEqual([shown("plan").until, Object.keys(shown("plan").plan)]);
  });
});

it("each reason that only a broker's report meets is on the page", async () => {
  const { page } = await openPage();
  const text = page.html.replaceAll("&#39;", "'");
  const reasons = Object.values(texts.feederBroker).map((one) => (typeof one === "string" ? one : one("rowan-4f2a9c")));
  for (const reason of reasons) expect(text).toContain(`<li>${reason}</li>`);
});

it("each topic on the page is in the access list for brokers, for feeders in the right direction", async () => {
  const { page } = await openPage();
  const rows = [...page.html.matchAll(/data-topic="(\w+)".*?<code>[^<]+<\/code><\/th><td[^>]*>(\w+)</g)];
  const stated = rows.map(
    ([, topic, from]) => `pattern ${from === "feeder" ? "write" : "read"} pieward/feeders/%u/${topic}`,
  );
  const list = readFileSync(join(projectFolder, "deploy/broker/pieward.acl"), "utf8");
  expect(stated).toHaveLength(5);
  expect(
    list
      .split("\n")
      .filter((line) => line.startsWith("pattern"))
      .sort(),
  ).toEqual(stated.sort());
});
