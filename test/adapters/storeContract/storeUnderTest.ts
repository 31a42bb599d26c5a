import type { Store } from "../../../server/ports.ts";

/** The store's contract as data: each rule is a promise of the port, in words, with the check of it. */
export type Rules = Readonly<Record<string, Rule>>;
export type Rule = Check | { readonly needs: Ability; readonly check: Check };
type Check = (opened: StoreUnderTest) => Promise<void>;

/** A store made afresh, empty, with the means to do to it what the port itself can't. */
export interface StoreUnderTest {
  readonly store: Store;
  /** Another handle to the same data, as a second process has one. */
  openSecond(): Promise<Store>;
  /** Makes the stored state of this feeder unusable, with all that it could be made from. */
  damageState(feeder: string): void;
  /** Makes the packed lines of this feeder unreadable. */
  damagePacks(feeder: string): void;
  /** Holds the lock as another process does. @returns what ends that */
  lockElsewhere(): () => void;
  /** @param isBroken whether a rule has ended in the middle, so that nobody knows what is still under way */
  close(isBroken: boolean): Promise<void>;
}

export type Ability = "damagedPacks" | "foreignLock";

/** An adapter that the contract is run over. */
export interface Adapter {
  readonly name: string;
  open(): Promise<StoreUnderTest>;
  /** After the last rule. */
  end(): Promise<void>;
  /** What can't happen to it, with the reason. A rule that needs it is tried all the same, and must fail. */
  readonly lacks: Readonly<Partial<Record<Ability, string>>>;
}

const checkOf = (rule: Rule): Check => (typeof rule === "function" ? rule : rule.check);

/** Why this adapter can't do what the rule needs; null: it can. */
export const reasonAgainst = ({ lacks }: Adapter, rule: Rule): string | null =>
  typeof rule === "function" ? null : (lacks[rule.needs] ?? null);

export async function runRule({ open }: Pick<Adapter, "open">, rule: Rule): Promise<void> {
  const opened = await open();
  let isBroken = true;
  try {
    await checkOf(rule)(opened);
    isBroken = false;
  } finally {
    await opened.close(isBroken);
  }
}
