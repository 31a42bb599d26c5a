import { getJson, type HttpAnswer, type HttpSession, retryWhileBusy } from "./httpSession.ts";

/**
 * What keepers change, one property each. Its actions set one value after the other. Reading it through the routes gives the value in
 * each place, so that an action that is half done gives two.
 */
export interface CheckedProperty {
  readonly name: string;
  /** The next action and the value that it sets. */
  next(): { readonly value: string; send(session: HttpSession): Promise<HttpAnswer> };
  /** The value in each place. */
  read(session: HttpSession): Promise<readonly string[]>;
}

/** What the actions change. */
export interface KillYard {
  readonly id: string;
  readonly keeper: string; // the person's id
  /** Feeders that report nothing, so that only actions change them. */
  readonly silent: readonly string[];
  /** All feeders that stay. */
  readonly feeders: readonly string[];
}

type Line = Record<string, never>;

export function checkedProperties(yard: KillYard): readonly CheckedProperty[] {
  const [first = "", second = "", third = "", fourth = ""] = yard.silent;
  const nextNumber = counter();
  return [
    {
      name: "place and zone of the yard and its feeders",
      next() {
        const number = nextNumber();
        const place = { latitudeDegrees: 59.5 + (number % 1_000) / 10_000, longitudeDegrees: 17.8 };
        const zone = zones[number % zones.length];
        return {
          value: JSON.stringify([zone, place]),
          send: (session) => session.ask("PATCH", `/api/v1/yards/${yard.id}`, { zone, place }),
        };
      },
      async read(session) {
        const { zone, place } = await yardIn(session, yard.id);
        const values = [JSON.stringify([zone, place])];
        for (const feeder of yard.silent) {
          const settings = (await lastLine(session, feeder, (line) => line.settings)) as Line | undefined;
          values.push(JSON.stringify([settings?.zone, settings?.place]));
        }
        return values;
      },
    },
    {
      name: "order to all feeders of the yard",
      next() {
        const [id, kind] = [`order-${1e6 + nextNumber()}`, nextNumber() % 2 === 0 ? "pause" : "resume"];
        return { value: id, send: (session) => session.ask("POST", `/api/v1/yards/${yard.id}/orders`, { id, kind }) };
      },
      async read(session) {
        const { feeders } = await yardIn(session, yard.id);
        return (feeders as { id: string; pause: { order: { id: string } | null } }[])
          .filter(({ id }) => yard.feeders.includes(id))
          .map(({ pause }) => valueText(pause.order?.id));
      },
    },
    refills(first, nextNumber),
    {
      name: "cleaning of a feeder",
      next() {
        const at = new Date(Date.now() - 86_400_000 + nextNumber() * 1_000).toISOString();
        return { value: at, send: (session) => session.ask("POST", `/api/v1/feeders/${second}/cleaned`, { at }) };
      },
      async read(session) {
        const line = await lastLine(session, second, ({ keeper }) => (keeper as Line | undefined)?.cleaned);
        const { cleanedAt } = (await getJson(session, `/api/v1/feeders/${second}`)).json();
        return [valueText((line as { at?: string } | undefined)?.at), valueText(cleanedAt)];
      },
    },
    {
      name: "settings of a feeder",
      next() {
        const hopperCapacityGrams = 1_000 + (nextNumber() % 3_000);
        return {
          value: String(hopperCapacityGrams),
          send: (session) => session.ask("PATCH", `/api/v1/feeders/${third}`, { hopperCapacityGrams }),
        };
      },
      async read(session) {
        const line = (await lastLine(session, third, ({ settings }) => settings)) as { hopperCapacityGrams?: number };
        const { settings } = (await getJson(session, `/api/v1/feeders/${third}`)).json();
        return [String(line.hopperCapacityGrams), String(settings.hopperCapacityGrams)];
      },
    },
    {
      name: "shelved alarm",
      next() {
        const number = nextNumber();
        const until = new Date(Date.now() + 86_400_000 + number * 1_000).toISOString();
        const path = `/api/v1/feeders/${fourth}/alarms/foodLow/shelve`;
        return { value: until, send: (session) => session.ask("POST", path, { id: `shelve-${1e6 + number}`, until }) };
      },
      async read(session) {
        const line = await lastLine(session, fourth, ({ keeper }) => (keeper as Line | undefined)?.shelve);
        return [valueText((line as { until?: string } | undefined)?.until)];
      },
    },
    phone(nextNumber),
    {
      name: "e-mail address",
      next() {
        const email = `keeper${nextNumber()}@alder-croft.example`;
        return { value: email, send: (session) => session.ask("PATCH", "/api/v1/me", { email }) };
      },
      read: async (session) => [valueText((await getJson(session, "/api/v1/me")).json().email)],
    },
    {
      name: "quiet hours",
      next() {
        const number = nextNumber();
        const quiet = { from: timeText(number), to: timeText(number + 60) };
        return {
          value: JSON.stringify(quiet),
          send: (session) =>
            session.ask("PATCH", `/api/v1/yards/${yard.id}/people/${yard.keeper}`, { quietHours: quiet }),
        };
      },
      async read(session) {
        const { people } = (await getJson(session, `/api/v1/yards/${yard.id}/people`)).json();
        return [JSON.stringify(people.find(({ you }: { you: boolean }) => you).quietHours)];
      },
    },
    practice(),
    temporaryFeeder(yard, nextNumber),
    temporaryPerson(yard, nextNumber),
  ];
}

const valueText = (value: unknown) => (value === undefined || value === null ? "none" : String(value));
const zones = ["Europe/Stockholm", "Europe/Helsinki", "Europe/Lisbon", "Asia/Tokyo", "UTC"];
const timeText = (minutes: number) =>
  `${String(Math.floor(minutes / 60) % 24).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;

function counter(): () => number {
  let number = 0;
  return () => {
    number += 1;
    return number;
  };
}

/** A browser that gets a new endpoint: never two phones, and never none. */
function phone(nextNumber: () => number): CheckedProperty {
  let endpoint = "";
  return {
    name: "phone",
    next() {
      const replaces = endpoint;
      const value = `https://127.0.0.1:9/${nextNumber()}`;
      const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
      const body = { endpoint: value, keys, label: "Pocket", ...(replaces === "" ? {} : { replaces }) };
      const send = async (session: HttpSession) => {
        const answer = await session.ask("POST", "/api/v1/phones", body);
        if (answer.status === 201) endpoint = value;
        return answer;
      };
      return { value, send };
    },
    async read(session) {
      const { phones } = (await getJson(session, "/api/v1/phones")).json();
      const all = (phones as { endpoint: string }[]).map((one) => one.endpoint);
      endpoint = all.at(-1) ?? "";
      return all.length === 0 ? ["none"] : all.length === 1 ? all : [all.join(" and ")];
    },
  };
}

function practice(): CheckedProperty {
  let runs = false;
  return {
    name: "practice",
    next() {
      const [value, method] = runs ? ["off", "DELETE"] : ["on", "POST"];
      const send = async (session: HttpSession) => {
        const answer = await session.ask(method, "/api/v1/practice");
        if (answer.status === 200) runs = value === "on";
        return answer;
      };
      return { value, send };
    },
    async read(session) {
      const { yards, practice } = (await getJson(session, "/api/v1/home")).json();
      const practising = (yards as { practice: boolean; feeders: unknown[] }[]).filter((one) => one.practice);
      runs = practising.length > 0;
      if (practising.length === 0) return [practice.running ? "running without a yard" : "off"];
      const whole = practising.length === 1 && practising[0]?.feeders.length === 2 && practice.running;
      return [whole ? "on" : `${practising.length} yards with ${practising.map(({ feeders }) => feeders.length)}`];
    },
  };
}

/** How many refills there are, in the feeder's log and in its day. */
function refills(feeder: string, nextNumber: () => number): CheckedProperty {
  let known = 0;
  return {
    name: "refills of a feeder",
    next() {
      const body = { id: `refill-${1e6 + nextNumber()}`, what: { kind: "filled" } };
      const send = async (session: HttpSession) => {
        const answer = await session.ask("POST", `/api/v1/feeders/${feeder}/refills`, body);
        if (answer.status === 200) known += 1;
        return answer;
      };
      return { value: String(known + 1), send };
    },
    async read(session) {
      const { from, to, marks } = (await getJson(session, `/api/v1/feeders/${feeder}/day`)).json();
      const lines = (await linesOf(session, feeder)).filter(({ keeper }) => (keeper as Line | undefined)?.refill);
      const within = lines.filter(({ at = "" }) => at >= from && at < to).length;
      const marked = (marks as { kind: string }[]).filter(({ kind }) => kind === "refill").length;
      known = lines.length;
      return within === marked ? [String(known)] : [`${within} in the log`, `${marked} in the day`];
    },
  };
}

/** A feeder that is added and removed. */
function temporaryFeeder(yard: KillYard, nextNumber: () => number): CheckedProperty {
  let known: string | null = null;
  return {
    name: "feeder that is added and removed",
    next() {
      if (known !== null) {
        const path = `/api/v1/feeders/${known}`;
        const remove = async (session: HttpSession) => {
          const answer = await session.ask("DELETE", path);
          if (answer.status === 204) known = null;
          return answer;
        };
        return { value: "none", send: remove };
      }
      const name = `Larch ${nextNumber()}`;
      const add = async (session: HttpSession) => {
        const answer = await session.ask("POST", "/api/v1/feeders", { yard: yard.id, name });
        if (answer.status === 201) known = answer.json().feeder.id;
        return answer;
      };
      return { value: name, send: add };
    },
    async read(session) {
      const { feeders } = await yardIn(session, yard.id);
      const others = (feeders as { id: string; name: string }[]).filter(({ id }) => !yard.feeders.includes(id));
      known = others[0]?.id ?? null;
      const logged = [];
      for (const { id } of others) {
        const { settings } = (await linesOf(session, id))[0] ?? {};
        logged.push(String((settings as { name?: string } | undefined)?.name));
      }
      return others.length === 0 ? ["none"] : [...others.map(({ name }) => name), ...logged];
    },
  };
}

/** Somebody who joins by an invite, with a new account, and is removed again. */
function temporaryPerson(yard: KillYard, nextNumber: () => number): CheckedProperty {
  let member: string | null = null;
  let newest = "";
  const account = (name: string) => ({ name, passphrase: "seven wet crows count copper kettles" });
  const others = async (session: HttpSession) => {
    const { people } = (await getJson(session, `/api/v1/yards/${yard.id}/people`)).json();
    return (people as { id: string; name: string; you: boolean }[]).filter(({ you }) => !you);
  };
  const join = async (session: HttpSession, name: string) => {
    newest = name;
    const { token } = (await session.ask("POST", `/api/v1/yards/${yard.id}/invites`, { role: "helper" })).json();
    const answer = await session.ask("POST", "/api/v1/join", { token, ...account(name) }, { cookie: "" });
    if (answer.status === 200) member = name;
    return answer;
  };
  const remove = async (session: HttpSession) => {
    newest = "";
    const id = (await others(session)).find(({ name }) => name === member)?.id;
    const answer = await session.ask("DELETE", `/api/v1/yards/${yard.id}/people/${id}`);
    if (answer.status === 204) member = null;
    return answer;
  };
  return {
    name: "person who joins and is removed",
    next() {
      if (member !== null) return { value: "none", send: remove };
      const name = `Cilla ${nextNumber()}`;
      return { value: name, send: (session) => join(session, name) };
    },
    async read(session) {
      const names = (await others(session)).map(({ name }) => name);
      member = names[0] ?? null;
      const members = names.length === 0 ? ["none"] : names;
      if (newest === "") return members;
      // An account without the yard would be half of it, and so would be a yard without the account.
      const signIn = () => session.ask("POST", "/api/v1/session", account(newest), { cookie: "" });
      const signedIn = await retryWhileBusy(signIn);
      return [...members, signedIn.status === 200 ? newest : "none"];
    },
  };
}

async function yardIn(session: HttpSession, id: string) {
  const { yards } = (await getJson(session, "/api/v1/home")).json();
  return (yards as { id: string; zone: string; place: unknown; feeders: unknown[] }[]).find((one) => one.id === id) as {
    zone: string;
    place: unknown;
    feeders: unknown[];
  };
}

async function linesOf(session: HttpSession, feeder: string): Promise<readonly Line[]> {
  const { text } = await getJson(session, `/api/v1/feeders/${feeder}/log`);
  return text
    .split("\n")
    .filter((line) => line !== "")
    .map((line) => JSON.parse(line) as Line);
}

async function lastLine(session: HttpSession, feeder: string, of: (line: Line) => unknown): Promise<unknown> {
  return (await linesOf(session, feeder)).map(of).findLast((found) => found !== undefined);
}
