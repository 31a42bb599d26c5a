import type { FeederView, HomeView } from "../../server/contract/api.ts";
import { type FeederKnowledge, minute } from "./knowledge.ts";
import { oneOf, type ScenarioPerson } from "./people.ts";
import type { ScenarioRun, WatchedScenarioFeeder } from "./run.ts";

interface Order {
  readonly id: string;
  readonly kind: "pause" | "resume";
  readonly until: string | null;
}

/** Three people who pause, resume, acknowledge and shelve, two of them at once now and then, and whose sessions end. */
export class ScenarioKeepers {
  private orders = 0;

  private readonly run: ScenarioRun;

  constructor(run: ScenarioRun) {
    this.run = run;
  }

  async act(): Promise<void> {
    for (const person of this.run.people) {
      if (this.run.happens(0.5)) await this.endSession(person);
      if (this.run.happens(10)) await this.order(person, oneOf(this.run.chance, this.run.watched));
    }
    if (this.run.happens(2)) await this.orderOfTwo();
    if (this.run.happens(1)) await this.orderAll();
    const alarms = (this.run.home?.yards[0]?.feeders ?? []).flatMap((view) =>
      view.alarms.map((alarm) => ({ view, alarm })),
    );
    if (alarms.length > 0 && this.run.happens(15)) {
      const { view, alarm } = oneOf(this.run.chance, alarms);
      const shelve = this.run.chance.isTrueWith(0.3);
      const url = `/api/v1/feeders/${view.id}/alarms/${alarm.fault}/${shelve ? "shelve" : "acknowledge"}`;
      const until = new Date(this.run.now + 60 * minute).toISOString();
      const answer = await this.run.as(oneOf(this.run.chance, this.run.people), "POST", url, shelve ? { until } : {});
      if (answer.status === 200) this.run.count(shelve ? "shelved" : "acknowledged");
    }
  }

  /** What was open is over; the next act needs a new session. */
  private async endSession(person: ScenarioPerson): Promise<void> {
    this.run.count("sessionsEnded");
    await this.run.as(person, "DELETE", "/api/v1/session");
    const outside = await this.run.as(person, "GET", "/api/v1/home");
    if (outside.status === 503) return;
    const body = { name: person.name, passphrase: person.passphrase };
    const from = `10.1.${this.run.step % 250}.${person.from.at(-1)}`;
    for (let tries = 0; tries < 3; tries += 1) {
      const answer = await this.run.request("POST", "/api/v1/session", { body, from });
      if (answer.status === 200) return this.run.signedIn(person, answer);
      this.run.server.refuseToStore(null);
    }
  }

  private newOrder(): Order {
    this.orders += 1;
    const kind = this.run.chance.isTrueWith(0.65) ? "pause" : "resume";
    const ends = kind === "pause" && this.run.chance.isTrueWith(0.3);
    const until = ends
      ? new Date(this.run.now + Math.ceil(this.run.chance.between(10, 300)) * minute).toISOString()
      : null;
    return { id: `order-${String(this.orders).padStart(6, "0")}`, kind, until };
  }

  private async order(
    person: ScenarioPerson,
    { feeder, known }: WatchedScenarioFeeder,
    order = this.newOrder(),
  ): Promise<void> {
    const answer = await this.run.as(person, "POST", `/api/v1/feeders/${feeder.id}/orders`, order);
    if (answer.status === 200) this.noteOrder(known, order);
    this.run.count("orders");
  }

  private noteOrder(known: FeederKnowledge, { id, kind, until }: Order): void {
    known.orders.push({ id, kind, until: until === null ? null : Date.parse(until), askedAt: this.run.now });
  }

  /** Two keepers at once: whichever the server took last is the newest, as its own view shows. */
  private async orderOfTwo(): Promise<void> {
    const { feeder, known } = oneOf(this.run.chance, this.run.watched);
    const orders = [this.newOrder(), this.newOrder()];
    const url = `/api/v1/feeders/${feeder.id}/orders`;
    const [ada, bo] = this.run.people as [ScenarioPerson, ScenarioPerson];
    const answers = await Promise.all(orders.map((order, n) => this.run.as(n === 0 ? ada : bo, "POST", url, order)));
    const taken = orders.filter((_, n) => answers[n]?.status === 200);
    const view = (await this.run.as(ada, "GET", `/api/v1/feeders/${feeder.id}`)).body as FeederView;
    taken.sort((one) => (one.id === view.pause.order?.id ? 1 : -1));
    for (const order of taken) this.noteOrder(known, order);
    this.run.count("ordersOfTwo");
  }

  /** Pause or resume all as one order. */
  private async orderAll(): Promise<void> {
    const order = this.newOrder();
    const answer = await this.run.as(
      oneOf(this.run.chance, this.run.people),
      "POST",
      `/api/v1/yards/${this.run.yard}/orders`,
      order,
    );
    this.run.count("pauseAll");
    if (answer.status === 404) {
      this.run.note([
        { rule: "server", about: "pause all", displayed: answer.text.slice(0, 200), known: "pause all is one act" },
      ]);
    }
    if (answer.status !== 200 && answer.status !== 201) return;
    const home = (await this.run.as(this.run.people[0] as ScenarioPerson, "GET", "/api/v1/home")).body as HomeView;
    for (const { feeder, known } of this.run.watched) {
      const id = home.yards[0]?.feeders.find((view) => view.id === feeder.id)?.pause.order?.id;
      if (id !== undefined && id !== known.newestOrder()?.id) this.noteOrder(known, { ...order, id });
    }
  }
}
