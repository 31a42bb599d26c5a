import { checkTexts } from "./feederChecks.ts";
import { EndpointKnowledge, minute } from "./knowledge.ts";
import { oneOf, pathOf, type ScenarioPerson, ScenarioPhone, type ServiceOutage, serviceOutages } from "./people.ts";
import { checkRenotification, renotifyDueAt, type UndisplayedAlarm } from "./phoneChecks.ts";
import type { ScenarioRun } from "./run.ts";

type Pushed = { readonly feeder: string | null; readonly fault: string | null }[];

/** A new phone that must be pushed an alarm which nobody was shown, by when its person's escalation level must be reached. */
interface AwaitedNotification {
  readonly phone: ScenarioPhone;
  readonly path: string;
  readonly alarm: UndisplayedAlarm;
  readonly dueAt: number;
  readonly pushed: Pushed;
}

/** Phones and their push services: addresses end, are renewed early or late, answers fail, and screens show or don't. */
export class ScenarioPhones {
  private readonly weather = new Map<string, ServiceOutage>(); // by path
  private readonly dead = new Map<string, 404 | 410>(); // by path
  private readonly displayed = new Set<string>();
  private readonly newPhones: {
    readonly person: ScenarioPerson;
    readonly phone: ScenarioPhone;
    readonly unshown: readonly UndisplayedAlarm[];
  }[] = [];
  private awaited: AwaitedNotification[] = [];
  private readonly pushed: { readonly path: string; readonly feeder: string | null; readonly fault: string | null }[] =
    [];
  private acceptedSeen = 0;

  private readonly run: ScenarioRun;

  constructor(run: ScenarioRun) {
    this.run = run;
  }

  answerOf(path: string) {
    const status = this.dead.get(path);
    if (status !== undefined) {
      const known = [...this.run.endpoints].find(([endpoint]) => pathOf(endpoint) === path)?.[1];
      if (known !== undefined) known.goneAt ??= this.run.now;
      this.run.count("gone");
      return { kind: "answer", status } as const;
    }
    const weather = this.weather.get(path);
    return weather !== undefined && weather.until > this.run.now ? weather.behaviour : ({ kind: "accept" } as const);
  }

  async act(): Promise<void> {
    for (const person of this.run.people) {
      for (const phone of person.phones) {
        if (this.run.now >= phone.opensAt) await this.openPage(person, phone);
        else this.plaguePhone(phone);
      }
      if (person.phones.length < 3 && this.run.happens(0.3)) {
        const phone = new ScenarioPhone(`${person.name}'s phone ${person.phones.length + 1}`);
        person.phones.push(phone);
        await this.handIn(person, phone);
      }
    }
  }

  private plaguePhone(phone: ScenarioPhone): void {
    const { chance, now } = this.run;
    const endpoint = phone.subscription?.endpoint;
    if (endpoint === undefined) return;
    if (this.run.happens(3))
      this.weather.set(pathOf(endpoint), {
        until: now + chance.between(3, 40) * minute,
        behaviour: oneOf(chance, serviceOutages),
      });
    if (this.run.happens(1.5)) phone.switchedOff = !phone.switchedOff;
    if (this.run.happens(1)) phone.losesReceiptsUntil = now + 60 * minute;
    if (phone.opensAt !== Number.POSITIVE_INFINITY) return;
    if (this.run.happens(3)) {
      // The push service ends the address; the browser learns of it and its page is opened some time later, or long before.
      phone.opensAt = now + chance.between(0, 180) * minute;
      phone.atOpening = oneOf(chance, ["handIn", "handIn", "handInDeadOne", "withdraw"]);
      if (chance.isTrueWith(0.8)) this.dead.set(pathOf(endpoint), chance.isTrueWith(0.7) ? 410 : 404);
    }
  }

  private async openPage(person: ScenarioPerson, phone: ScenarioPhone): Promise<void> {
    phone.opensAt = Number.POSITIVE_INFINITY;
    switch (phone.atOpening) {
      case "withdraw": {
        // Leave was withdrawn in the browser; the page reports it to the server when it is opened.
        const endpoint = phone.registeredEndpoint;
        if (endpoint === null) return;
        const answer = await this.run.as(person, "POST", "/api/v1/phones/forget", { endpoint });
        if (answer.status === 200) this.forgotten(phone, endpoint);
        phone.opensAt = this.run.now + this.run.chance.between(20, 300) * minute;
        phone.atOpening = "handIn";
        this.run.count("withdrawn");
        return;
      }
      case "handInDeadOne":
        if (phone.subscription !== null) await this.handIn(person, phone, phone.subscription);
        this.run.count("deadHandedIn");
        phone.opensAt = this.run.now + this.run.chance.between(20, 120) * minute;
        phone.atOpening = "handIn";
        return;
      case "handIn":
        await this.handIn(person, phone);
        this.run.count("renewed");
    }
  }

  private forgotten(phone: ScenarioPhone, endpoint: string): void {
    const known = this.run.endpoints.get(endpoint);
    if (known !== undefined) known.goneAt ??= this.run.now;
    phone.registeredEndpoint = null;
  }

  /** A phone becomes available under a new address of its push service, or hands in the one that it has. */
  async handIn(
    person: ScenarioPerson,
    phone: ScenarioPhone,
    same: ScenarioPhone["subscription"] = null,
  ): Promise<void> {
    const subscription = same ?? this.run.server.push.subscribe({ label: phone.label });
    const { endpoint, p256dh, auth } = subscription;
    const unshown = this.unshown();
    const body = { endpoint, keys: { p256dh, auth }, label: phone.label, replaces: phone.registeredEndpoint };
    const answer = await this.run.as(person, "POST", "/api/v1/phones", body);
    if (answer.status !== 201) {
      // A refusal may come after the address was stored: the list may then name it, and proves nothing.
      if (!this.run.endpoints.has(endpoint)) {
        this.run.endpoints.set(endpoint, new EndpointKnowledge(person.name, this.run.now));
      }
      phone.opensAt = this.run.now + minute; // nothing was stored: it is tried again
      return;
    }
    const replaced = phone.registeredEndpoint;
    if (replaced !== null && replaced !== endpoint) this.forgotten(phone, replaced);
    [phone.subscription, phone.registeredEndpoint] = [subscription, endpoint];
    const known = this.run.endpoints.get(endpoint);
    if (known === undefined) this.run.endpoints.set(endpoint, new EndpointKnowledge(person.name, this.run.now));
    else known.listAnew(this.run.now);
    this.run.count("newPhones");
    if (same === null && !this.run.loopStandsStill) this.newPhones.push({ person, phone, unshown });
  }

  /** Urgent alarms that stood unanswered after the last step and that no screen had shown since they were raised. */
  private unshown(): readonly UndisplayedAlarm[] {
    const receipts = [...this.run.endpoints.values()].flatMap((one) => one.receipts);
    return (this.run.home?.yards[0]?.escalations ?? []).flatMap(
      ({ feeder, fault, title, raisedAt, acknowledgedBy, recipientStates }): UndisplayedAlarm[] => {
        const view = this.run.home?.yards[0]?.feeders.find(({ id }) => id === feeder);
        const alarm = view?.alarms.find((one) => one.fault === fault);
        const calls = alarm?.priority === "urgent" && alarm.state === "unacknowledged" && acknowledgedBy === null;
        const wasShown =
          recipientStates.some(({ displayedAt }) => displayedAt !== null) ||
          receipts.some((one) => one.fault === fault && one.at >= Date.parse(raisedAt));
        return calls && !wasShown ? [{ feeder, fault, title, raisedAt }] : [];
      },
    );
  }

  readPushed(): void {
    const { acceptedCount } = this.run.server.push;
    this.pushed.length = 0;
    for (const message of acceptedCount.slice(this.acceptedSeen)) {
      const { title, body, data } = message.payload.notification;
      this.run.note(checkTexts("a notice", [title, body]));
      this.pushed.push({ path: `/push/${message.phone}`, feeder: data.feeder, fault: data.fault });
    }
    for (const { person, phone, unshown } of this.newPhones) {
      const path = pathOf(phone.registeredEndpoint ?? "https://none.example/");
      if (unshown.length === 0 || this.dead.has(path) || this.run.loopStandsStill || this.run.refusesToStore) continue;
      this.run.check("renotification");
      this.run.count("undisplayedThenNotified");
      for (const alarm of unshown) this.awaited.push({ phone, path, alarm, dueAt: this.dueAt(person), pushed: [] });
    }
    for (const { path, pushed } of this.awaited) pushed.push(...this.pushed.filter((one) => one.path === path));
    this.newPhones.length = 0;
  }

  /** A phone that is switched on shows what was pushed to it, and its worker sends a display receipt, unless that gets lost. */
  async showNotices(): Promise<void> {
    const { acceptedCount } = this.run.server.push;
    const fresh = acceptedCount.slice(this.acceptedSeen);
    this.acceptedSeen = acceptedCount.length;
    for (const message of fresh) {
      const { item, feeder, fault, isClosing: closes } = message.payload.notification.data;
      const owner = this.run.people.flatMap((person) => person.phones.map((phone) => ({ person, phone })));
      const found = owner.find(
        ({ phone }) => phone.subscription !== null && pathOf(phone.subscription.endpoint) === `/push/${message.phone}`,
      );
      if (found === undefined || item === null || closes || found.phone.switchedOff) continue;
      if (this.displayed.has(item) || this.run.now < found.phone.losesReceiptsUntil) continue;
      const endpoint = found.phone.subscription?.endpoint as string;
      if (this.dead.has(pathOf(endpoint))) continue;
      const answer = await this.run.request("POST", `/api/v1/notifications/${item}/display-receipt`, {
        body: {},
        from: `10.2.${this.run.step % 250}.${Math.floor(this.run.step / 250) % 250}`,
      });
      if (answer.status !== 204) continue;
      this.displayed.add(item);
      this.run.endpoints.get(endpoint)?.receipts.push({ at: this.run.now, feeder, fault, person: found.person.name });
      this.run.count("receipts");
    }
  }

  /** Each earlier level in which somebody has a phone or an address has the yard's time to answer; then the next one follows. */
  private dueAt({ escalationOrder }: ScenarioPerson): number {
    const hasPhone = ({ name }: ScenarioPerson) =>
      [...this.run.endpoints.values()].some(({ person, goneAt }) => person === name && goneAt === null);
    const before = this.run.people.filter(
      (one) => one.escalationOrder < escalationOrder && (one.email !== null || hasPhone(one)),
    );
    return renotifyDueAt(this.run.now, before.length);
  }

  /** What was answered, shown or ended meanwhile awaited nobody: only what is still active is required. */
  checkRenotifications(): void {
    const open = this.unshown();
    this.awaited = this.awaited.filter(({ phone, path, alarm, dueAt, pushed }) => {
      const stands = open.some(
        (one) => one.feeder === alarm.feeder && one.fault === alarm.fault && one.raisedAt === alarm.raisedAt,
      );
      // Its push service refused it, or it has another address by now: nothing can be asked for this one.
      const isHindered =
        this.dead.has(path) ||
        this.weather.has(path) ||
        pathOf(phone.registeredEndpoint ?? "https://none.example/") !== path;
      if (!stands || isHindered) return false;
      const found = checkRenotification(phone.label, [alarm], pushed);
      if (found.length > 0 && this.run.now < dueAt) return true;
      this.run.note(found);
      return false;
    });
  }
}
