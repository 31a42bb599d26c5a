import { z } from "zod";
import { type FoodKind, foodKinds, typicalPortion } from "../domain/food.ts";
import { isMailAddress } from "../domain/letters/mailAddress.ts";

/**
 * What the keeper's client says and is told. Answers (`…View`) are plain types, since we make them ourselves; what comes
 * in (`…Request`) is a schema, since anyone may send it. Times are ISO 8601 in UTC; units stand in the names.
 */

// --- what comes in -------------------------------------------------------------------------------------------------

const name = z.string().trim().min(1, "must not be empty").max(60, "must be at most 60 characters");
const passphrase = z.string().min(10, "must be at least 10 characters").max(200, "must be at most 200 characters");
const clientId = z.string().regex(/^[A-Za-z0-9_-]{8,64}$/, "must be 8 to 64 letters, digits, _ or -");
const moment = z.iso.datetime({ offset: true });

const isTimeZone = (zone: string) => {
  try {
    new Intl.DateTimeFormat("en", { timeZone: zone });
    return true;
  } catch {
    return false;
  }
};
const zone = z.string().refine(isTimeZone, "must be an IANA time zone such as Europe/Stockholm");
const placeSchema = z.object({
  latitudeDegrees: z.number().min(-90).max(90),
  longitudeDegrees: z.number().min(-180).max(180),
});
const localTime = z.string().regex(/^([01]\d|2[0-3]):[0-5]\d$/, "must be a local time such as 07:30");

export const claimRequest = z.object({
  token: z.string().min(1).max(200),
  name,
  passphrase,
  zone: zone.optional(),
});
export const signInRequest = z.object({ name, passphrase: z.string().max(200) });

export const yardRequest = z
  .object({
    name,
    zone,
    place: placeSchema.nullable(),
    digestTime: localTime,
    digestWanted: z.boolean(),
    escalateMinutes: z.int().min(1, "must be at least a minute").max(1_440, "must be at most a day"),
  })
  .partial();

const [portionMin, portionMax] = [0.1, 100]; // grams
export const feederSettingsRequest = z.object({
  name,
  food: z.string().trim().min(1).max(60),
  foodKind: z.enum(foodKinds as [FoodKind, ...FoodKind[]]).optional(),
  grainsPerPortion: z.int().min(1).max(1_000).optional(), // pieces, as counted
  hopperCapacityGrams: z.number().min(50).max(50_000),
  portionGrams: z.number().min(portionMin).max(portionMax),
  sensors: z.object({
    button: z.boolean(),
    detector: z.boolean(),
    chute: z.boolean(),
    perch: z.boolean(),
    scale: z.boolean(),
  }),
  battery: z.enum(["none", "leadAcid", "lithiumIronPhosphate", "lithiumIon"]),
  reportEverySeconds: z.int().min(5).max(3_600),
  warnAheadDays: z.number().min(0.25).max(30),
  duty: z.enum(["inGarden", "onBench", "putAway"]).optional(), // left out: in the garden
});
/** What ten portions weighed together on a kitchen scale says more than a single one, and is what a keeper can read off. */
const tenPortionsGrams = z.number().min(1).max(1_000);
export const addFeederRequest = feederSettingsRequest
  .partial()
  .required({ name: true })
  .extend({ yard: z.string(), tenPortionsGrams: tenPortionsGrams.optional() })
  .superRefine(foodAgrees);
export const changeFeederRequest = feederSettingsRequest
  .partial()
  .extend({ tenPortionsGrams: tenPortionsGrams.optional() })
  .superRefine(foodAgrees);

/** What is said of the food must make one sense, or the keeper is told where it doesn't. */
function foodAgrees(said: SaidFood, context: z.RefinementCtx): void {
  const refuse = (field: keyof SaidFood, message: string) => {
    context.addIssue({ code: "custom", path: [field], message });
  };
  const { foodKind, grainsPerPortion: grains, portionGrams, tenPortionsGrams: ten } = said;
  if (foodKind === "other" && said.food === undefined) refuse("food", "must say in your own words what it is");
  if (portionGrams !== undefined && ten !== undefined) {
    refuse("tenPortionsGrams", "and portionGrams say the same: give one of them");
  }
  if (foodKind === undefined || grains === undefined || portionGrams !== undefined || ten !== undefined) return;
  const typical = typicalPortion(foodKind, grains);
  if (typical !== null && (typical < portionMin || typical > portionMax)) {
    const [least, most] = [`at least ${portionMin} g`, `at most ${portionMax} g`];
    const bound = typical < portionMin ? least : most;
    refuse("grainsPerPortion", `would be a portion of about ${typical} g: a portion weighs ${bound}`);
  }
}
interface SaidFood {
  readonly food?: string | undefined;
  readonly foodKind?: FoodKind | undefined;
  readonly grainsPerPortion?: number | undefined;
  readonly portionGrams?: number | undefined;
  readonly tenPortionsGrams?: number | undefined;
}

export const refillRequest = z.object({
  id: clientId,
  at: moment.optional(),
  what: z.discriminatedUnion("kind", [
    z.object({ kind: z.literal("added"), grams: z.number().gt(0).max(50_000) }),
    z.object({ kind: z.literal("filled") }),
    z.object({ kind: z.literal("level"), grams: z.number().min(0).max(50_000) }),
  ]),
});
export const orderRequest = z.object({
  id: clientId,
  kind: z.enum(["pause", "resume"]),
  until: moment.nullish(),
});
/** `at`: when it was cleaned; left out: just now. */
export const cleanedRequest = z.object({ at: moment.optional() }).nullish();
/** `id`: the client's own, so that an act that it sends again, having got no answer, is done once. */
export const shelveRequest = z.object({ id: clientId.optional(), until: moment });
/** `raisedAt`: which raise is answered, as its notice named it; left out: whichever stands. */
export const acknowledgeRequest = z.object({ id: clientId.optional(), raisedAt: moment.nullish() }).nullish();
export const numberedRequest = z.object({ id: clientId.optional() }).nullish();
export const outOfServiceRequest = z.object({
  id: clientId.optional(),
  why: z.string().trim().min(1, "must not be empty").max(200, "must be at most 200 characters"),
});

export const phoneRequest = z.object({
  endpoint: z.url().max(2_000),
  keys: z.object({
    p256dh: z.string().regex(/^[A-Za-z0-9_-]{87}$/, "must be a 65-octet public key in base64url"),
    auth: z.string().regex(/^[A-Za-z0-9_-]{22}$/, "must be a 16-octet secret in base64url"),
  }),
  label: z.string().trim().min(1).max(60).optional(),
  replaces: z.string().max(2_000).nullish(),
});
export const forgetPhoneRequest = z.object({ endpoint: z.string().max(2_000) });

export const practiceFaults = [
  "none",
  "empty",
  "jam",
  "bridge",
  "stall",
  "wireOff",
  "chuteBlind",
  "buttonDead",
  "detectorDeaf",
  "scaleDead",
  "silent",
  "coldNight",
  "weakBattery",
  "chargingInFrost",
  "deafToOrders",
] as const;
export type PracticeFault = (typeof practiceFaults)[number];
export const practiceFaultRequest = z.object({ fault: z.enum(practiceFaults) });

export const roles = ["keeper", "helper"] as const;
export type Role = (typeof roles)[number];
export const digestWays = ["push", "mail", "both", "none"] as const;
export type DigestWay = (typeof digestWays)[number];

/** What a person says of themselves at a yard (the first three), and what its keepers say of them (the last two). */
export const personRequest = z
  .object({
    quiet: z.object({ from: localTime, to: localTime }).nullable(), // local times of the yard; null: no quiet hours
    urgentBreaks: z.boolean(),
    digestBy: z.enum(digestWays),
    role: z.enum(roles),
    turn: z.int().min(1, "must be at least 1").max(20, "must be at most 20"),
  })
  .partial();
export const inviteRequest = z.object({ role: z.enum(roles) });
/** Whoever is signed in joins with the token alone. */
export const joinRequest = z.object({
  token: z.string().min(1).max(200),
  name: name.optional(),
  passphrase: passphrase.optional(),
});
export const meRequest = z
  .object({ mail: z.string().trim().refine(isMailAddress, "must be an address such as ada@example.org").nullable() })
  .partial();

/** A notice stood on a screen; `at` by the phone's own clock, left out: just now. */
export const shownRequest = z.object({ at: moment.optional() });

// --- what goes out -------------------------------------------------------------------------------------------------

export interface HomeView {
  readonly keeper: MeView;
  readonly yards: readonly YardView[];
  readonly serverTime: string;
  /** Whether this server runs a practice feeder just now. */
  readonly practice: { readonly running: boolean; readonly fault: PracticeFault };
  /** What a keeper can choose from as food. */
  readonly foods: readonly FoodView[];
}

/** Who is signed in. */
export interface MeView {
  readonly id: string;
  readonly name: string;
  readonly mail: string | null;
  /** Whether this server can send letters at all. */
  readonly canMail: boolean;
}

export interface FoodView {
  readonly kind: FoodKind;
  readonly words: string; // "peanut halves"
  /** A first guess from memory, to be corrected by weighing; null where nothing is known of such a piece. */
  readonly pieceGrams: number | null;
}

export interface YardView {
  readonly id: string;
  readonly name: string;
  readonly zone: string;
  readonly place: { readonly latitudeDegrees: number; readonly longitudeDegrees: number } | null;
  readonly digestTime: string; // local, such as 07:30
  readonly digestWanted: boolean;
  readonly practice: boolean;
  /** How long an urgent alarm waits for one person before the next one is told. */
  readonly escalateMinutes: number;
  readonly role: Role; // of who asks
  readonly people: number;
  /** What people are being told of just now, the newest first. */
  readonly calls: readonly CallView[];
  readonly feeders: readonly FeederView[];
}

/** Whom an alarm has reached so far. */
export interface CallView {
  readonly feeder: string | null; // null: it speaks of the yard, whose feeders fell silent together
  readonly fault: string;
  readonly title: string;
  readonly raisedAt: string;
  readonly told: readonly {
    readonly name: string;
    readonly lastAt: string;
    readonly shownAt: string | null; // when a phone of theirs said that it stood on its screen
    readonly mailedAt: string | null;
  }[];
  readonly acknowledgedBy: string | null;
  /** Nobody was told, since nobody can be: only this page says it. */
  readonly unreachable: boolean;
}

/** One feeder, whole: small enough (about 3 kB) that lists carry it too, and the client keeps one shape offline. */
export interface FeederView {
  readonly id: string;
  readonly yard: string;
  readonly revision: number; // grows by one with each stored change
  readonly name: string;
  readonly practice: boolean;
  readonly settings: z.infer<typeof feederSettingsRequest>;
  readonly lastHeardAt: string | null;
  readonly missingEvents: number; // numbered by the feeder, and never arrived
  readonly readings: ReadingsView | null; // null until the first report
  readonly hopper: HopperView;
  readonly alarms: readonly AlarmView[]; // gravest first; suspected ones are left out
  readonly pause: PauseView;
  readonly cleanedAt: string | null; // null while nobody has said so
  /** What can't be known or told apart with what is fitted, each in a sentence; empty where nothing is missing. */
  readonly blindSpots: readonly string[];
  /** One sentence that says how the feeder is, for lists and for the screen reader. */
  readonly words: string;
}

export interface ReadingsView {
  readonly at: string;
  readonly hopperGrams: number | null;
  readonly airCelsius: number | null;
  readonly insideCelsius: number | null;
  readonly lidCelsius: number | null;
  readonly humidityPercent: number | null;
  readonly supplyVolts: number | null;
  readonly batteryVolts: number | null;
  readonly batteryCelsius: number | null;
  readonly chargeMilliamps: number | null;
  readonly signalDbm: number | null;
  readonly spooled: number | null;
  readonly paused: boolean | null;
}

export interface HopperView {
  readonly capacityGrams: number;
  /** Null until a scale or a refill has told where to start from. */
  readonly level: { readonly grams: number; readonly low: number; readonly high: number } | null; // 90 % interval
  readonly portionGrams: number; // as learnt so far
  readonly portionWords: string; // "A portion weighs about 1.6 g by the scale (you said 1.5 g)."
  readonly empty: { readonly p10: string | null; readonly p50: string | null; readonly p90: string | null } | null;
  readonly words: string; // "enough until Thursday, 80 % sure"
}

export interface AlarmView {
  readonly fault: string;
  readonly title: string;
  readonly priority: "urgent" | "soon" | "note";
  readonly phase:
    | "unacknowledged"
    | "acknowledged"
    | "returnedUnacknowledged"
    | "latchedUnacknowledged"
    | "latchedAcknowledged"
    | "shelved"
    | "suppressedByDesign"
    | "outOfService";
  readonly reason: string;
  readonly act: string;
  readonly since: string;
  readonly shelvedUntil: string | null;
  readonly raisedAt: string | null; // null where nobody was told of it, or it is set aside
  /** Titles of the alarms that it stands for besides its own. */
  readonly explains: readonly string[];
  /** The title of the alarm that stands for this one. */
  readonly explainedBy: string | null;
  readonly outOfService: { readonly by: string; readonly since: string; readonly why: string } | null;
  readonly evidence: readonly { readonly what: string; readonly value: string; readonly at: string | null }[];
}

export interface PauseView {
  /** What the feeder itself last said, and when. */
  readonly feederSays: { readonly paused: boolean; readonly at: string } | null;
  readonly order: OrderView | null; // the newest order
}

export interface OrderView {
  readonly id: string;
  readonly kind: "pause" | "resume";
  readonly phase: "asked" | "sent" | "overdue" | "confirmed" | "refused" | "superseded";
  readonly until: string | null;
  readonly askedAt: string;
  readonly askedBy: string;
  readonly sentAt: string | null;
  readonly answeredAt: string | null;
  readonly problem: string | null;
}

/** A local day from one solar noon to the next would hide the morning: the ribbon runs from dusk to dusk. */
export interface DayView {
  readonly feeder: string;
  readonly date: string; // the local date of the daylight in the middle
  readonly from: string;
  readonly to: string;
  /** Contiguous spans from `from` to `to`; without a known place the whole is `unknown`. */
  readonly light: readonly {
    readonly kind: "night" | "twilight" | "day" | "unknown";
    readonly from: string;
    readonly to: string;
  }[];
  readonly marks: readonly DayMark[];
  readonly tally: DayTally;
  readonly words: string; // the ribbon in a sentence, for whoever can't see it
}
export interface DayMark {
  readonly kind: "visit" | "press" | "deposit" | "portion" | "refill" | "trouble" | "alarm";
  readonly at: string;
  readonly detail: string; // "paid", "free", "unpaid", "metal", ""
}
export interface DayTally {
  readonly visits: number;
  readonly presses: number;
  readonly deposits: number;
  readonly portions: number;
  readonly gramsGiven: number;
}

/** The key is shown this once; only its hash is kept. */
export interface AddedFeederView {
  readonly feeder: FeederView;
  readonly key: string;
}

export interface PhonesView {
  readonly publicKey: string; // VAPID, base64url
  readonly phones: readonly PhoneView[];
}
export interface PhoneView {
  readonly id: string;
  readonly endpoint: string;
  readonly label: string;
  readonly addedAt: string;
  readonly lastAcceptedAt: string | null; // when its push service last took a notice
  readonly lastShownAt: string | null; // when it last said itself that a notice stood on its screen
  readonly problem: string | null;
  readonly reach: ReachView;
}
/**
 * `proved`: it showed a notice lately; `unproved`: its push service took one since, and nothing shows that it arrived;
 * `lost`: its push service takes none. `words` say it in a sentence.
 */
export interface ReachView {
  readonly kind: "proved" | "unproved" | "lost";
  readonly words: string;
}

/** Who belongs to a yard, in the order in which they are told. */
export interface PeopleView {
  readonly yard: string;
  readonly people: readonly PersonView[];
  readonly invites: readonly { readonly role: Role; readonly expiresAt: string }[]; // open ones, for keepers; else empty
}
export interface PersonView {
  readonly id: string;
  readonly name: string;
  readonly you: boolean;
  readonly role: Role;
  readonly turn: number; // 1 is told first
  readonly quiet: { readonly from: string; readonly to: string } | null; // local times of the yard
  readonly urgentBreaks: boolean;
  readonly digestBy: DigestWay;
  readonly phones: number;
  readonly hasMail: boolean; // the address itself is theirs alone
  /** How they can be told just now: the best of their phones, or what is missing. */
  readonly reach: ReachView;
}
/** Shown this once; only its hash is kept. The link is `<home>/join#<token>`. */
export interface InviteView {
  readonly token: string;
  readonly expiresAt: string;
}
export interface JoinedView {
  readonly keeper: { readonly name: string };
  readonly yard: { readonly id: string; readonly name: string };
}
export interface TestMailView {
  readonly outcome: "accepted" | "tryLater" | "refused";
  readonly words: string;
}

export interface TestPushView {
  /** By phone: what its push service said. */
  readonly outcomes: readonly {
    readonly label: string;
    readonly outcome: "accepted" | "gone" | "tryLater" | "refused";
    readonly words: string;
  }[];
}

/** A yard's day in words, as it was told that morning. */
export interface DigestView {
  readonly yard: string;
  readonly date: string; // local
  readonly title: string; // as pushed: "Alder Croft, today: 2 things to do"
  readonly gist: string; // the same without yard and day: "2 things to do"
  readonly sections: readonly { readonly heading: string; readonly lines: readonly string[] }[];
  /** Local dates of which there are digests, the newest first, this one among them if it is new enough; at most `digestsKept`. */
  readonly dates: readonly string[];
}
/** Today's and those of the last seven days. */
export const digestsKept = 8;

/** How well a yard's alarms themselves do their work, over about a month. Words first; the numbers are one tap away. */
export interface RatesView {
  readonly yard: string;
  readonly from: string;
  readonly to: string;
  readonly words: readonly string[];
  /** What to change, the gravest first, each naming the very alarm; empty where nothing is to be changed. */
  readonly findings: readonly string[];
  readonly days: readonly RatesDayView[];
  readonly measures: readonly MeasureView[];
  readonly loaders: readonly { readonly name: string; readonly alarms: number; readonly sharePercent: number }[];
  readonly priorities: readonly PriorityShareView[];
  readonly floods: readonly { readonly from: string; readonly to: string | null; readonly alarms: number }[];
  readonly standing: readonly { readonly name: string; readonly since: string }[]; // for more than a day
}
export interface RatesDayView {
  readonly date: string; // local
  readonly urgent: number;
  readonly soon: number;
  readonly notes: number; // no alarms, for the digest
}
/** `ceiling` null where the standard names none. */
export interface MeasureView {
  readonly name: string;
  readonly value: string;
  readonly ceiling: { readonly words: string; readonly source: string; readonly status: string } | null;
  readonly over: boolean;
}
export interface PriorityShareView {
  readonly name: string; // "act now"
  readonly annunciated: number;
  readonly annunciatedPercent: number | null; // null where none was
  readonly configured: number; // kinds of alarm
  readonly configuredPercent: number;
  readonly standardPercent: number;
}

/** Over the live socket: something about this feeder (or about the yard, null) changed. */
export interface LiveMessage {
  readonly kind: "changed";
  readonly feeder: string | null;
  readonly revision: number | null;
}

/** What the service worker is handed in a push. */
export type { PushPayload } from "../domain/push/payload.ts";

/** RFC 9457; `errors` names each wrong field. */
export interface ProblemView {
  readonly type: string;
  readonly title: string;
  readonly status: number;
  readonly detail: string;
  readonly errors?: readonly { readonly field: string; readonly problem: string }[];
}
