import { getJson, type HttpAnswer, type HttpSession, retryWhileBusy } from "./httpSession.ts";

/**
 * What keepers change, one property each. Its acts set it to one value after the other; reading it through the routes gives the
 * value that each place shows, so that an act that is done by half shows two.
 */
export interface CheckedProperty {
  readonly name: string;
  /** Does the next act, and says what it sets. */
  next(): { readonly value: string; send(visit: HttpSession): Promise<HttpAnswer> };
  /** Every value that a place shows now. */
  read(visit: HttpSession): Promise<readonly string[]>;
}

/** What the acts are about. */
export interface KillYard {
  readonly id: string;
  readonly keeper: string; // the person's id
  /** Feeders that report nothing, so that only acts change them. */
  readonly quiet: readonly string[];
  /** All feeders that stay. */
  readonly feeders: readonly string[];
}

type Line = Record<string, never>;

export function checkedProperties(yard: KillYard): readonly CheckedProperty[] {
  const [first = "", second = "", third = "", fourth = ""] = yard.quiet;
  const once = counter();
  return [
    {
      name: "place and zone of the yard and its feeders",
      next() {
        const number = once();
        const place = { latitudeDegrees: 59.5 + (number % 1_000) / 10_000, longitudeDegrees: 17.8 };
        const zone = zones[number % zones.length];
        return {
          value: JSON.stringify([zone, place]),
          send: (visit) => visit.ask("PATCH", `/api/v1/yards/${yard.id}`, { zone, place }),
        };
      },
      async read(visit) {
        const { zone, place } = await yardIn(visit, yard.id);
        const said = [JSON.stringify([zone, place])];
        for (const feeder of yard.quiet) {
          const settings = (await lastLine(visit, feeder, (line) => line.settings)) as Line | undefined;
          said.push(JSON.stringify([settings?.zone, settings?.place]));
        }
        return said;
      },
    },
    {
      name: "order to all feeders of the yard",
      next() {
        const [id, kind] = [`order-${1e6 + once()}`, once() % 2 === 0 ? "pause" : "resume"];
        return { value: id, send: (visit) => visit.ask("POST", `/api/v1/yards/${yard.id}/orders`, { id, kind }) };
      },
      async read(visit) {
        const { feeders } = await yardIn(visit, yard.id);
        return (feeders as { id: string; pause: { order: { id: string } | null } }[])
          .filter(({ id }) => yard.feeders.includes(id))
          .map(({ pause }) => shown(pause.order?.id));
      },
    },
    refills(first, once),
    {
      name: "cleaning of a feeder",
      next() {
        const at = new Date(Date.now() - 86_400_000 + once() * 1_000).toISOString();
        return { value: at, send: (visit) => visit.ask("POST", `/api/v1/feeders/${second}/cleaned`, { at }) };
      },
      async read(visit) {
        const line = await lastLine(visit, second, ({ keeper }) => (keeper as Line | undefined)?.cleaned);
        const { cleanedAt } = (await getJson(visit, `/api/v1/feeders/${second}`)).json();
        return [shown((line as { at?: string } | undefined)?.at), shown(cleanedAt)];
      },
    },
    {
      name: "settings of a feeder",
      next() {
        const hopperCapacityGrams = 1_000 + (once() % 3_000);
        return {
          value: String(hopperCapacityGrams),
          send: (visit) => visit.ask("PATCH", `/api/v1/feeders/${third}`, { hopperCapacityGrams }),
        };
      },
      async read(visit) {
        const line = (await lastLine(visit, third, ({ settings }) => settings)) as { hopperCapacityGrams?: number };
        const { settings } = (await getJson(visit, `/api/v1/feeders/${third}`)).json();
        return [String(line.hopperCapacityGrams), String(settings.hopperCapacityGrams)];
      },
    },
    {
      name: "shelved alarm",
      next() {
        const number = once();
        const until = new Date(Date.now() + 86_400_000 + number * 1_000).toISOString();
        const path = `/api/v1/feeders/${fourth}/alarms/foodLow/shelve`;
        return { value: until, send: (visit) => visit.ask("POST", path, { id: `shelve-${1e6 + number}`, until }) };
      },
      async read(visit) {
        const line = await lastLine(visit, fourth, ({ keeper }) => (keeper as Line | undefined)?.shelve);
        return [shown((line as { until?: string } | undefined)?.until)];
      },
    },
    phone(once),
    {
      name: "mail address",
      next() {
        const mail = `keeper${once()}@alder-croft.example`;
        return { value: mail, send: (visit) => visit.ask("PATCH", "/api/v1/me", { email: mail }) };
      },
      read: async (visit) => [shown((await getJson(visit, "/api/v1/me")).json().email)],
    },
    {
      name: "quiet hours",
      next() {
        const number = once();
        const quiet = { from: clock(number), to: clock(number + 60) };
        return {
          value: JSON.stringify(quiet),
          send: (visit) => visit.ask("PATCH", `/api/v1/yards/${yard.id}/people/${yard.keeper}`, { quietHours: quiet }),
        };
      },
      async read(visit) {
        const { people } = (await getJson(visit, `/api/v1/yards/${yard.id}/people`)).json();
        return [JSON.stringify(people.find(({ you }: { you: boolean }) => you).quietHours)];
      },
    },
    practice(),
    visitor(yard, once),
    guest(yard, once),
  ];
}

const shown = (value: unknown) => (value === undefined || value === null ? "none" : String(value));
const zones = ["Europe/Stockholm", "Europe/Helsinki", "Europe/Lisbon", "Asia/Tokyo", "UTC"];
const clock = (minutes: number) =>
  `${String(Math.floor(minutes / 60) % 24).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;

function counter(): () => number {
  let number = 0;
  return () => {
    number += 1;
    return number;
  };
}

/** A browser that gets a new endpoint: never two phones, and never none. */
function phone(once: () => number): CheckedProperty {
  let endpoint = "";
  return {
    name: "phone",
    next() {
      const replaces = endpoint;
      const value = `https://127.0.0.1:9/${once()}`;
      const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };
      const body = { endpoint: value, keys, label: "Pocket", ...(replaces === "" ? {} : { replaces }) };
      const send = async (visit: HttpSession) => {
        const answer = await visit.ask("POST", "/api/v1/phones", body);
        if (answer.status === 201) endpoint = value;
        return answer;
      };
      return { value, send };
    },
    async read(visit) {
      const { phones } = (await getJson(visit, "/api/v1/phones")).json();
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
      const send = async (visit: HttpSession) => {
        const answer = await visit.ask(method, "/api/v1/practice");
        if (answer.status === 200) runs = value === "on";
        return answer;
      };
      return { value, send };
    },
    async read(visit) {
      const { yards, practice } = (await getJson(visit, "/api/v1/home")).json();
      const practising = (yards as { practice: boolean; feeders: unknown[] }[]).filter((one) => one.practice);
      runs = practising.length > 0;
      if (practising.length === 0) return [practice.running ? "running without a yard" : "off"];
      const whole = practising.length === 1 && practising[0]?.feeders.length === 2 && practice.running;
      return [whole ? "on" : `${practising.length} yards with ${practising.map(({ feeders }) => feeders.length)}`];
    },
  };
}

/** How many refills there are, in the feeder's log and in its day. */
function refills(feeder: string, once: () => number): CheckedProperty {
  let known = 0;
  return {
    name: "refills of a feeder",
    next() {
      const said = { id: `refill-${1e6 + once()}`, what: { kind: "filled" } };
      const send = async (visit: HttpSession) => {
        const answer = await visit.ask("POST", `/api/v1/feeders/${feeder}/refills`, said);
        if (answer.status === 200) known += 1;
        return answer;
      };
      return { value: String(known + 1), send };
    },
    async read(visit) {
      const { from, to, marks } = (await getJson(visit, `/api/v1/feeders/${feeder}/day`)).json();
      const lines = (await linesOf(visit, feeder)).filter(({ keeper }) => (keeper as Line | undefined)?.refill);
      const within = lines.filter(({ at = "" }) => at >= from && at < to).length;
      const marked = (marks as { kind: string }[]).filter(({ kind }) => kind === "refill").length;
      known = lines.length;
      return within === marked ? [String(known)] : [`${within} in the log`, `${marked} in the day`];
    },
  };
}

/** A feeder that is added and removed. */
function visitor(yard: KillYard, once: () => number): CheckedProperty {
  let known: string | null = null;
  return {
    name: "feeder that comes and goes",
    next() {
      if (known !== null) {
        const path = `/api/v1/feeders/${known}`;
        const remove = async (visit: HttpSession) => {
          const answer = await visit.ask("DELETE", path);
          if (answer.status === 204) known = null;
          return answer;
        };
        return { value: "none", send: remove };
      }
      const name = `Larch ${once()}`;
      const add = async (visit: HttpSession) => {
        const answer = await visit.ask("POST", "/api/v1/feeders", { yard: yard.id, name });
        if (answer.status === 201) known = answer.json().feeder.id;
        return answer;
      };
      return { value: name, send: add };
    },
    async read(visit) {
      const { feeders } = await yardIn(visit, yard.id);
      const others = (feeders as { id: string; name: string }[]).filter(({ id }) => !yard.feeders.includes(id));
      known = others[0]?.id ?? null;
      const said = [];
      for (const { id } of others) {
        const { settings } = (await linesOf(visit, id))[0] ?? {};
        said.push(String((settings as { name?: string } | undefined)?.name));
      }
      return others.length === 0 ? ["none"] : [...others.map(({ name }) => name), ...said];
    },
  };
}

/** Somebody who joins by an invite, with a new account, and is removed again. */
function guest(yard: KillYard, once: () => number): CheckedProperty {
  let member: string | null = null;
  let newest = "";
  const account = (name: string) => ({ name, passphrase: "seven wet crows count copper kettles" });
  const others = async (visit: HttpSession) => {
    const { people } = (await getJson(visit, `/api/v1/yards/${yard.id}/people`)).json();
    return (people as { id: string; name: string; you: boolean }[]).filter(({ you }) => !you);
  };
  const join = async (visit: HttpSession, name: string) => {
    newest = name;
    const { token } = (await visit.ask("POST", `/api/v1/yards/${yard.id}/invites`, { role: "helper" })).json();
    const answer = await visit.ask("POST", "/api/v1/join", { token, ...account(name) }, { cookie: "" });
    if (answer.status === 200) member = name;
    return answer;
  };
  const remove = async (visit: HttpSession) => {
    newest = "";
    const id = (await others(visit)).find(({ name }) => name === member)?.id;
    const answer = await visit.ask("DELETE", `/api/v1/yards/${yard.id}/people/${id}`);
    if (answer.status === 204) member = null;
    return answer;
  };
  return {
    name: "person who comes and goes",
    next() {
      if (member !== null) return { value: "none", send: remove };
      const name = `Cilla ${once()}`;
      return { value: name, send: (visit) => join(visit, name) };
    },
    async read(visit) {
      const names = (await others(visit)).map(({ name }) => name);
      member = names[0] ?? null;
      const said = names.length === 0 ? ["none"] : names;
      if (newest === "") return said;
      // An account without the yard would be half of it, and so would be a yard without the account.
      const signIn = () => visit.ask("POST", "/api/v1/session", account(newest), { cookie: "" });
      const signedIn = await retryWhileBusy(signIn);
      return [...said, signedIn.status === 200 ? newest : "none"];
    },
  };
}

async function yardIn(visit: HttpSession, id: string) {
  const { yards } = (await getJson(visit, "/api/v1/home")).json();
  return (yards as { id: string; zone: string; place: unknown; feeders: unknown[] }[]).find((one) => one.id === id) as {
    zone: string;
    place: unknown;
    feeders: unknown[];
  };
}

async function linesOf(visit: HttpSession, feeder: string): Promise<readonly Line[]> {
  const { text } = await getJson(visit, `/api/v1/feeders/${feeder}/log`);
  return text
    .split("\n")
    .filter((line) => line !== "")
    .map((line) => JSON.parse(line) as Line);
}

async function lastLine(visit: HttpSession, feeder: string, of: (line: Line) => unknown): Promise<unknown> {
  return (await linesOf(visit, feeder)).map(of).findLast((found) => found !== undefined);
}
