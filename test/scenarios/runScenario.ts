import type {
  DigestView,
  FeederView,
  HomeView,
  PeopleView,
  PersonView,
  PhonesView,
} from "../../server/contract/api.ts";
import { checkFeeder, checkTexts, type Rule, type Violation } from "./feederChecks.ts";
import { profiles, ScenarioFeeder } from "./feeders.ts";
import { ScenarioKeepers } from "./keepers.ts";
import { FeederKnowledge, minute } from "./knowledge.ts";
import { type ScenarioPerson, ScenarioPhone } from "./people.ts";
import { checkPerson, checkPhone } from "./phoneChecks.ts";
import { ScenarioPhones } from "./phones.ts";
import { ScenarioReporting } from "./reporting.ts";
import { ScenarioRun } from "./run.ts";
import type { ScenarioServer } from "./server.ts";
import { claimsWell } from "./texts.ts";

/**
 * A week in which people, feeders and networks fail in every way, against the whole server.
 *
 * Goal: at every step, what a screen shows about pause, reachability and health is never better than what has reached the
 * server by then; nothing acknowledged is lost; nothing answers 500.
 * Method: virtual time, a minute a step. Feeders, people, phones, push service and the server's own process misbehave by one
 * seed; the checks know what reached the server, and read the views of everybody after each step. `play(server, seed)` plays
 * the same week again.
 */
export type ScenarioResult = Pick<ScenarioRun, "violations" | "cases" | "checks">;

export interface Options {
  readonly steps: number;
  readonly hurry?: number;
  /** Reads whole screens too, every so many steps. */
  readonly readScreens?: (run: ScenarioRun) => Promise<readonly Violation[]>;
  readonly screensEverySteps?: number;
}

export async function runScenario(server: ScenarioServer, seed: number, options: Options): Promise<ScenarioResult> {
  const run = new ScenarioRun(server, seed, options.hurry ?? 1);
  const scenario = new Scenario(run);
  await scenario.begin();
  for (let step = 1; step <= options.steps; step += 1) {
    await scenario.live(step);
    if (options.readScreens && step % (options.screensEverySteps ?? 60) === 0) run.note(await options.readScreens(run));
  }
  scenario.end();
  return run;
}

class Scenario {
  private readonly reporting: ScenarioReporting;
  private readonly keepers: ScenarioKeepers;
  private readonly phones: ScenarioPhones;
  private readonly checkedDigests = new Set<string>();

  private readonly run: ScenarioRun;

  constructor(run: ScenarioRun) {
    this.run = run;
    [this.reporting, this.keepers, this.phones] = [
      new ScenarioReporting(run),
      new ScenarioKeepers(run),
      new ScenarioPhones(run),
    ];
  }

  async begin(): Promise<void> {
    const person = (name: string, n: number): ScenarioPerson => ({
      name,
      id: "",
      escalationOrder: 0,
      email: n === 1 ? null : `${name.toLowerCase()}@alder.example`, // who is notified first has nothing but phones
      headers: {},
      passphrase: "three grey birds at breakfast",
      from: `10.0.0.${n}`,
      phones: [],
    }); // prettier-ignore
    const [ada, bo, cilla] = [person("Ada", 1), person("Bo", 2), person("Cilla", 3)];
    const token = await this.run.server.firstSignInToken();
    const claim = { token, name: ada.name, passphrase: ada.passphrase, zone: "Europe/Stockholm" };
    this.run.signedIn(ada, await this.run.request("POST", "/api/v1/first-sign-in", { body: claim }));
    this.run.people.push(ada);
    this.run.home = (await this.run.as(ada, "GET", "/api/v1/home")).body as HomeView;
    this.run.yard = this.run.home.yards[0]?.id as string;
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await this.run.as(ada, "PATCH", `/api/v1/yards/${this.run.yard}`, { name: "Alder Croft", place });
    for (const [joining, role] of [
      [bo, "keeper"],
      [cilla, "helper"],
    ] as const) {
      const invite = (await this.run.as(ada, "POST", `/api/v1/yards/${this.run.yard}/invites`, { role })).body as {
        token: string;
      };
      const joins = { token: invite.token, name: joining.name, passphrase: joining.passphrase };
      this.run.signedIn(joining, await this.run.request("POST", "/api/v1/join", { body: joins, from: joining.from }));
      this.run.people.push(joining);
    }
    const { people } = (await this.run.as(ada, "GET", `/api/v1/yards/${this.run.yard}/people`)).body as PeopleView;
    for (const one of this.run.people) {
      const view = people.find(({ name }) => name === one.name) as PersonView;
      [one.id, one.escalationOrder] = [view.id, view.escalationOrder];
      one.phones.push(new ScenarioPhone(`${one.name}'s phone`));
      await this.run.as(one, "PATCH", `/api/v1/yards/${this.run.yard}/people/${one.id}`, {
        quietHours: null,
        urgentBreaks: true,
        digestBy: "both",
      });
      if (one.email !== null) await this.run.as(one, "PATCH", "/api/v1/me", { email: one.email });
      for (const phone of one.phones) await this.phones.handIn(one, phone);
    }
    await this.addFeeders(ada);
    this.run.server.push.setBehaviour((path) => this.phones.answerOf(path));
  }

  private async addFeeders(by: ScenarioPerson): Promise<void> {
    for (const profile of profiles) {
      const { name, settings = {}, reportEverySeconds } = profile;
      const added = await this.run.as(by, "POST", "/api/v1/feeders", {
        yard: this.run.yard,
        name,
        ...settings,
        reportEverySeconds,
      });
      const { feeder: view, key } = added.body as { feeder: FeederView; key: string };
      const feeder = new ScenarioFeeder(profile, this.run.chance, this.run.now, this.run.hurry);
      [feeder.id, feeder.key] = [view.id, key];
      const terms = {
        reportEverySeconds,
        byHand: profile.byHand ?? false,
        settingsSaid: profile.settings !== undefined,
      };
      this.run.watched.push({ feeder, known: new FeederKnowledge(), terms });
    }
  }

  end(): void {
    this.reporting.checkRecords();
    for (const complaint of this.run.server.complaints) {
      this.run.note([
        { rule: "server", about: "the server's loop", displayed: complaint.slice(0, 300), known: "it must not fail" },
      ]);
    }
    for (const { subject, text } of this.run.server.emails)
      this.run.note(checkTexts("an email", [subject, text.replace(/https?:\S+/g, "")]));
    this.run.count("mails", this.run.server.emails.length);
    this.run.count(
      "starts",
      this.run.watched.reduce((sum, { feeder }) => sum + feeder.starts, 0),
    );
    this.run.count(
      "startsWhilePaused",
      this.run.watched.reduce((sum, { feeder }) => sum + feeder.startsWhilePaused, 0),
    );
  }

  async live(step: number): Promise<void> {
    this.run.step = step;
    this.run.server.pass(minute);
    await this.plagueServer();
    for (const { feeder } of this.run.watched) feeder.live(this.run.now);
    await this.reporting.reportAll();
    await this.keepers.act();
    await this.phones.act();
    if (!this.run.loopStandsStill) await this.run.server.runTick();
    this.run.loopStandsStill = false;
    this.phones.readPushed();
    await this.phones.showNotices();
    await this.checkAll();
  }

  private async plagueServer(): Promise<void> {
    this.run.refusesToStore = this.run.happens(3);
    this.run.server.refuseToStore(null);
    if (this.run.refusesToStore) {
      this.run.server.refuseToStore(this.run.chance.isTrueWith(0.5) ? "busy" : "full");
      this.run.count("refusedStoring");
    }
    if (this.run.happens(1)) this.run.server.mailServerIsDead = !this.run.server.mailServerIsDead;
    if (this.run.happens(2)) {
      this.run.count("restarts");
      if (this.run.chance.isTrueWith(0.5)) this.run.loopStandsStill = true; // it dies between commit and push
      await this.run.server.restart();
    }
  }

  private async checkAll(): Promise<void> {
    const person = this.run.people[this.run.step % this.run.people.length] as ScenarioPerson;
    const answer = await this.run.as(person, "GET", "/api/v1/home");
    if (answer.status !== 200) return;
    this.run.home = answer.body as HomeView;
    const views = new Map(this.run.home.yards.flatMap((yard) => yard.feeders).map((view) => [view.id, view]));
    for (const { feeder, known, terms } of this.run.watched) {
      const view = views.get(feeder.id) as FeederView;
      if (claimsWell(view.summary)) this.run.count("okSeen");
      if (view.pause.order?.status === "confirmed") this.run.count("confirmedSeen");
      if (view.pause.order?.status === "overdue") this.run.count("overdueSeen");
      known.observe(this.run.now);
      for (const rule of feederRules) this.run.check(rule);
      this.run.note(checkFeeder(view, known, terms, this.run.now));
    }
    this.phones.checkRenotifications();
    if (this.run.step % 5 === 0) await this.checkPeople();
    if (this.run.step % 60 === 0) await this.checkDigest(person);
  }

  private async checkPeople(): Promise<void> {
    for (const person of this.run.people) {
      const phones = await this.run.as(person, "GET", "/api/v1/phones");
      if (phones.status !== 200) continue;
      for (const phone of (phones.body as PhonesView).phones) {
        this.run.check("reach");
        this.run.check("gonePhone");
        if (phone.reachability.kind === "confirmed") this.run.count("provedSeen");
        this.run.note(checkPhone(phone, this.run.endpoints.get(phone.endpoint), this.run.now));
        this.run.note(checkTexts(phone.label, [phone.reachability.text, phone.problem ?? ""]));
      }
    }
    const people = await this.run.as(
      this.run.people[0] as ScenarioPerson,
      "GET",
      `/api/v1/yards/${this.run.yard}/people`,
    );
    if (people.status !== 200) return;
    for (const view of (people.body as PeopleView).people) {
      const theirs = [...this.run.endpoints.values()].filter(({ person }) => person === view.name);
      this.run.note(checkPerson(view, theirs, this.run.now));
      this.run.note(checkTexts(view.name, [view.reachability.text]));
    }
  }

  private async checkDigest(person: ScenarioPerson): Promise<void> {
    const answer = await this.run.as(person, "GET", `/api/v1/yards/${this.run.yard}/digest`);
    if (answer.status !== 200) return;
    const digest = answer.body as DigestView;
    if (this.checkedDigests.has(digest.date)) return;
    this.checkedDigests.add(digest.date);
    const lines = digest.sections.flatMap(({ heading, lines }) => [heading, ...lines]);
    this.run.note(
      checkTexts(`the digest of ${digest.date}`, [
        digest.title,
        digest.summary,
        ...lines.map((line) => (typeof line === "string" ? line : JSON.stringify(line))),
      ]),
    );
  }
}

const feederRules: readonly Rule[] = [
  "confirmed",
  "resumed",
  "lastStatement",
  "overdue",
  "foodThoughPaused",
  "contradiction",
  "well",
  "byHand",
  "signOfLife",
  "unreadable",
  "bootReused",
  "text",
  "attributed",
]; // prettier-ignore
