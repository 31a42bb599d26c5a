import { z } from "zod";
import { isEmailAddress } from "../domain/email/emailAddress.ts";
import { type FoodKind, foodKinds, typicalPortion } from "../domain/food.ts";
import { nameProblem, spelledName } from "../domain/names.ts";
import { isUsableZone } from "../domain/zone.ts";
import { feedingRequest } from "./feedingRequest.ts";
import { localTime } from "./localTime.ts";

/** What the keeper's client sends: schemas, since anyone may send it. Times are ISO 8601 in UTC; units are in the names. */

/** Normalized before it is checked; the limit on the length bounds the time that this takes. */
const name = z
  .string()
  .max(200, "must be at most 60 characters")
  .overwrite(spelledName)
  .min(1, "must not be empty")
  .max(60, "must be at most 60 characters")
  .superRefine((name, context) => {
    const problem = name === "" ? null : nameProblem(name);
    if (problem !== null) context.addIssue({ code: "custom", message: problem });
  });
/** The name of an account as it was typed: an older one may hold characters that a new one may not. */
const knownName = z.string().min(1, "must not be empty").max(200, "must be at most 200 characters");
/** A passphrase that is the only factor has at least 15 characters, and no rule about their kinds (NIST SP 800-63B-4, 3.1.1.2). */
export const passphraseMin = 15;
const passphraseMax = 200;
const tooLong = `must be at most ${passphraseMax} characters`;
const passphrase = z
  .string()
  .min(passphraseMin, `must be at least ${passphraseMin} characters`)
  .max(passphraseMax, tooLong);
/** One that may have been set under an earlier, weaker rule. */
const givenPassphrase = z.string().min(1, "must not be empty").max(passphraseMax, tooLong);
const secretToken = z.string().min(1).max(200);
const clientId = z.string().regex(/^[A-Za-z0-9_-]{8,64}$/, "must be 8 to 64 letters, digits, _ or -");
const instantSchema = z.iso.datetime({ offset: true });

const zone = z.string().max(100).refine(isUsableZone, "must be an IANA time zone such as Europe/Stockholm");
const placeSchema = z.strictObject({
  latitudeDegrees: z.number().min(-90).max(90),
  longitudeDegrees: z.number().min(-180).max(180),
});

export const firstSignInRequest = z.strictObject({
  token: z.string().min(1).max(200),
  name,
  passphrase,
  zone: zone.optional(),
});
export const signInRequest = z.strictObject({ name: knownName, passphrase: z.string().max(passphraseMax, tooLong) });
/** By the one-time link that the server's own command line prints. */
export const resetRequest = z.strictObject({ token: secretToken, passphrase });
export const passphraseRequest = z.strictObject({ old: givenPassphrase, passphrase });
/** For whoever has programs that read the training record: they are not signed in for ever. */
export const exportKeyRequest = z.strictObject({
  name,
  days: z.literal([90, 365], "must be 90 or 365"),
  passphrase: givenPassphrase,
});
/**
 * `withYards`: also deletes the yards that have no other keeper. Without it, the account of a yard's last keeper is not deleted.
 */
export const deleteAccountRequest = z.strictObject({ passphrase: givenPassphrase, withYards: z.boolean().optional() });

export const yardRequest = z
  .strictObject({
    name,
    zone,
    place: placeSchema.nullable(),
    digestTime: localTime,
    digestWanted: z.boolean(),
    escalateMinutes: z.int().min(1, "must be at least a minute").max(1_440, "must be at most a day"),
    stillsKeptDays: z
      .int("must be a whole number")
      .min(7, "must be at least 7 days")
      .max(365, "must be at most 365 days"),
  })
  .partial();

/** `id`: the client's own, of the pause that a notice orders. */
export const diseaseNoticeRequest = z.strictObject({ id: clientId, inForce: z.boolean() });

/** Another yard, besides those that are there. */
export const addYardRequest = z.strictObject({ name, zone, place: placeSchema.nullish() });
/** `name`: the yard's own, typed once more, so that nobody deletes the wrong one. */
export const deleteYardRequest = z.strictObject({ name: z.string().max(200) });

const [portionMin, portionMax] = [0.1, 100]; // grams
/** A field that is left out was never entered; calculations then use the usual value. */
export const feederSettingsRequest = z.strictObject({
  name,
  food: z.string().trim().min(1).max(60).optional(),
  foodKind: z.enum(foodKinds as [FoodKind, ...FoodKind[]]).optional(),
  grainsPerPortion: z.int().min(1).max(1_000).optional(), // pieces, as counted
  hopperCapacityGrams: z.number().min(50).max(50_000).optional(),
  portionGrams: z.number().min(portionMin).max(portionMax).optional(),
  sensors: z.strictObject({
    button: z.boolean(),
    detector: z.boolean(),
    chute: z.boolean(),
    perch: z.boolean(),
    scale: z.boolean(),
  }),
  battery: z.enum(["none", "leadAcid", "lithiumIronPhosphate", "lithiumIon"]).optional(),
  reportEverySeconds: z.int().min(5).max(3_600),
  warnAheadDays: z.number().min(0.25).max(30),
  placement: z.enum(["inGarden", "onBench", "putAway"]).optional(), // left out: in the garden
  feeding: feedingRequest.nullable().optional(), // null: no feeding plan (any more); left out: as it is
});
/** A kitchen scale measures ten portions together more exactly than one. */
const tenPortionsGrams = z.number().min(1).max(1_000);
export const addFeederRequest = feederSettingsRequest
  .partial()
  .required({ name: true })
  .extend({ yard: z.string(), tenPortionsGrams: tenPortionsGrams.optional() })
  .superRefine(checkFoodFields);
export const changeFeederRequest = feederSettingsRequest
  .partial()
  .extend({ tenPortionsGrams: tenPortionsGrams.optional() })
  .superRefine(checkFoodFields);

/** `settings`: what would be changed. `days`: how far back; left out: 30. */
export const settingsComparisonRequest = z.strictObject({
  settings: changeFeederRequest,
  days: z.int().min(1, "must be at least 1").max(92, "must be at most 92").optional(),
});

/** The fields about the food must agree with each other. */
function checkFoodFields(request: FoodFields, context: z.RefinementCtx): void {
  const refuse = (field: keyof FoodFields, message: string) => {
    context.addIssue({ code: "custom", path: [field], message });
  };
  const { foodKind, food, portionGrams, tenPortionsGrams } = request;
  if (foodKind === "other" && food === undefined) refuse("food", 'must be entered when the kind is "other"');
  const isWeighed = portionGrams !== undefined || tenPortionsGrams !== undefined;
  if (portionGrams !== undefined && tenPortionsGrams !== undefined) {
    refuse("tenPortionsGrams", "and portionGrams say the same: give one of them");
  }
  const problem = isWeighed ? null : pieceCountProblem(request);
  if (problem !== null) refuse("grainsPerPortion", problem);
}

/** Where no portion was weighed, so many pieces of this food must make a mass that a portion can have. */
function pieceCountProblem({ foodKind, grainsPerPortion }: FoodFields): string | null {
  if (foodKind === undefined || grainsPerPortion === undefined) return null;
  const typical = typicalPortion(foodKind, grainsPerPortion);
  if (typical === null || (typical >= portionMin && typical <= portionMax)) return null;
  const bound = typical < portionMin ? `at least ${portionMin} g` : `at most ${portionMax} g`;
  return `would be a portion of about ${typical} g: a portion weighs ${bound}`;
}

interface FoodFields {
  readonly food?: string | undefined;
  readonly foodKind?: FoodKind | undefined;
  readonly grainsPerPortion?: number | undefined;
  readonly portionGrams?: number | undefined;
  readonly tenPortionsGrams?: number | undefined;
}

export const refillRequest = z.strictObject({
  id: clientId,
  at: instantSchema.optional(),
  what: z.discriminatedUnion("kind", [
    z.strictObject({ kind: z.literal("added"), grams: z.number().gt(0).max(50_000) }),
    z.strictObject({ kind: z.literal("filled") }),
    z.strictObject({ kind: z.literal("level"), grams: z.number().min(0).max(50_000) }),
  ]),
});
export const orderRequest = z.strictObject({
  id: clientId,
  kind: z.enum(["pause", "resume"]),
  until: instantSchema.nullish(),
});
/** `at`: when it was cleaned; left out: just now. */
export const cleanedRequest = z.strictObject({ at: instantSchema.optional() }).nullish();
/** `id`: the client's own, so that an action sent again after a lost answer is done once. */
export const shelveRequest = z.strictObject({ id: clientId.optional(), until: instantSchema });
/**
 * `raisedAt`: which raise is acknowledged, from its notification; left out: the present one. `notifiedPriority`: the priority of
 * that notification; an alarm whose priority has become higher since is not acknowledged by it.
 */
export const acknowledgeRequest = z
  .strictObject({
    id: clientId.optional(),
    raisedAt: instantSchema.nullish(),
    notifiedPriority: z.enum(["urgent", "soon"]).optional(),
  })
  .nullish();
export const actionIdRequest = z.strictObject({ id: clientId.optional() }).nullish();
export const outOfServiceRequest = z.strictObject({
  id: clientId.optional(),
  reason: z.string().trim().min(1, "must not be empty").max(200, "must be at most 200 characters"),
});

const subscription = z.strictObject({
  endpoint: z.url().max(2_000),
  keys: z.strictObject({
    p256dh: z.string().regex(/^[A-Za-z0-9_-]{87}$/, "must be a 65-octet public key in base64url"),
    auth: z.string().regex(/^[A-Za-z0-9_-]{22}$/, "must be a 16-octet secret in base64url"),
  }),
});
export const phoneRequest = subscription.extend({
  label: z.string().trim().min(1).max(60).optional(),
  /** The endpoint of the same browser before: the phone keeps its id, with the new endpoint. */
  replaces: z.string().max(2_000).nullish(),
});
export const renewPhoneRequest = subscription.extend({ replaces: z.string().min(1).max(2_000) });
export const forgetPhoneRequest = z.strictObject({ endpoint: z.string().max(2_000) });
/** Whether this phone's browser may show notifications, as the browser reports it. */
export const phonePermissionRequest = z.strictObject({ endpoint: z.string().max(2_000), allowed: z.boolean() });

export const practiceFaults = [
  "none",
  "hopperEmpty",
  "trayJammed",
  "feedBridged",
  "motorStalled",
  "wireOff",
  "chuteBlind",
  "buttonDead",
  "detectorDead",
  "scaleDead",
  "silent",
  "coldNight",
  "weakBattery",
  "chargingInFrost",
  "ignoresOrders",
] as const;
export type PracticeFault = (typeof practiceFaults)[number];
export const practiceProgrammeRequest = z.strictObject({ do: z.enum(["start", "stop", "remove"]) });
export const practiceFaultRequest = z.strictObject({ fault: z.enum(practiceFaults) });

export const roles = ["keeper", "helper"] as const;
export type Role = (typeof roles)[number];
export const digestChannels = ["push", "email", "both", "none"] as const;
export type DigestChannel = (typeof digestChannels)[number];

/** What a person sets for themselves at a yard (the first three), and what its keepers set for them (the last two). */
export const personRequest = z
  .strictObject({
    quietHours: z.strictObject({ from: localTime, to: localTime }).nullable(), // local times of the yard; null: no quiet hours
    urgentBreaks: z.boolean(),
    digestBy: z.enum(digestChannels),
    role: z.enum(roles),
    escalationOrder: z.int().min(1, "must be at least 1").max(20, "must be at most 20"),
  })
  .partial();
export const inviteRequest = z.strictObject({ role: z.enum(roles) });
/** Whoever is signed in joins with the token alone. */
export const joinRequest = z.strictObject({
  token: z.string().min(1).max(200),
  name: name.optional(),
  passphrase: givenPassphrase.optional(), // a new person's is checked by the same rules as everywhere
});
export const meRequest = z
  .strictObject({
    email: z.string().trim().refine(isEmailAddress, "must be an address such as ada@example.org").nullable(),
  })
  .partial();

/** A screen showed a notification; `at` by the phone's own clock, left out: just now. */
export const displayReceiptRequest = z.strictObject({ at: instantSchema.optional() });
