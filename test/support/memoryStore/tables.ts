import type { AlarmChange } from "../../../server/domain/alarms/alarmStates.ts";
import type { Digest } from "../../../server/domain/digest/digest.ts";
import type { LevelledRollup } from "../../../server/domain/history/hoursAndDays.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import type { NotificationContent } from "../../../server/domain/notification/content.ts";
import type { Escalation } from "../../../server/domain/notification/escalation.ts";
import type { Order } from "../../../server/domain/orders/order.ts";
import type {
  Channel,
  ExportKeyRow,
  FeederRow,
  GonePhone,
  KeeperRow,
  LogLine,
  MemberRow,
  NoteRow,
  OpenInvite,
  PasskeyRow,
  Phone,
  PictureRow,
  ProgrammeChangeRow,
  RowPlace,
  SessionDetails,
  SteppedState,
  StillRow,
  StoredRefill,
  YardRow,
} from "../../../server/ports.ts";

/**
 * All rows, each in a map by its key and never changed in place: a copy of the maps is a copy of the data. A map keeps the order in
 * which its rows were added.
 */
export const emptyTables = () => ({
  yards: new Map<string, StoredYard>(),
  people: new Map<string, Person>(),
  /** By yard and person. */
  members: new Map<string, StoredMember>(),
  invites: new Map<string, StoredInvite>(),
  sessions: new Map<string, StoredSession>(),
  resets: new Map<string, StoredReset>(),
  /** By token hash. */
  firstSignIns: new Map<string, { readonly usedAt: Instant | null }>(),
  passkeys: new Map<string, PasskeyRow>(),
  exportKeys: new Map<string, ExportKeyRow>(),
  phones: new Map<string, StoredPhone>(),
  /** By endpoint. */
  gonePhones: new Map<string, StoredGonePhone>(),
  feeders: new Map<string, StoredFeeder>(),
  /** By feeder, in order. */
  log: new Map<string, readonly LogLine[]>(),
  /** Days of a feeder that are packed, in order. */
  packs: new Map<string, readonly Pack[]>(),
  /** By feeder, level and begin. */
  rollups: new Map<string, StoredRollup>(),
  alarmChanges: new Map<string, readonly AlarmChange[]>(),
  /** These three by feeder and their own id. */
  orders: new Map<string, Order & { readonly feeder: string }>(),
  refills: new Map<string, StoredRefill>(),
  actionIds: new Map<string, { readonly feeder: string; readonly at: Instant }>(),
  /** By topic. */
  escalations: new Map<string, StoredEscalation>(),
  items: new Map<string, Item>(),
  /** By yard and id. */
  programmeChanges: new Map<string, ProgrammeChangeRow>(),
  notes: new Map<string, NoteRow>(),
  pictures: new Map<string, PictureRow>(),
  stills: new Map<string, StillRow>(),
  /** By yard and local date. */
  digests: new Map<string, StoredDay>(),
});
export type Tables = ReturnType<typeof emptyTables>;

export const copyTables = (tables: Tables): Tables =>
  Object.fromEntries(Object.entries(tables).map(([name, table]) => [name, new Map<string, unknown>(table)])) as Tables;

/** The key of a row that belongs to another one. */
export const keyOf = (...parts: readonly string[]): string => JSON.stringify(parts);

export const rowsWhere = <Row>(table: ReadonlyMap<string, Row>, isWanted: (row: Row) => boolean): Row[] =>
  [...table.values()].filter(isWanted);

export function removeWhere<Row>(table: Map<string, Row>, isUnwanted: (row: Row) => boolean): number {
  const keys = [...table].flatMap(([key, row]) => (isUnwanted(row) ? [key] : []));
  for (const key of keys) table.delete(key);
  return keys.length;
}

export function changeWhere<Row>(table: Map<string, Row>, isWanted: (row: Row) => boolean, change: Partial<Row>): void {
  for (const [key, row] of table) if (isWanted(row)) table.set(key, { ...row, ...change });
}

/** @throws Error where there is one already: keys are unique */
export function addRow<Row>(table: Map<string, Row>, key: string, row: Row): void {
  if (table.has(key)) throw new Error(`expected no row ${key}`);
  table.set(key, row);
}

/** @throws Error where there is none: what belongs to another row is only stored while that one is */
export function rowOf<Row>(table: ReadonlyMap<string, Row>, key: string): Row {
  const row = table.get(key);
  if (row === undefined) throw new Error(`expected a row ${key}`);
  return row;
}

/** Whether a list that goes backwards in time has the row after this moment or place. */
export const comesAfter = ({ at, id }: RowPlace, before: Instant | RowPlace): boolean =>
  typeof before === "number" ? at < before : at < before.at || (at === before.at && id > before.id);

/** For sorting by several values, the first that differs. */
export function compareBy<Row>(...valuesOf: readonly ((row: Row) => number | string)[]): (a: Row, b: Row) => number {
  return (a, b) => {
    for (const value of valuesOf) {
      const [one, other] = [value(a), value(b)];
      if (one !== other) return one < other ? -1 : 1;
    }
    return 0;
  };
}

export interface StoredYard extends YardRow {
  readonly createdAt: Instant;
}
export interface Person extends KeeperRow {
  readonly nameKey: string;
  readonly email: string | null;
  readonly emailSince: Instant | null;
  readonly createdAt: Instant;
}
export interface StoredMember extends Omit<MemberRow, "person"> {
  readonly person: string;
  readonly createdAt: Instant;
}
interface StoredInvite extends OpenInvite {
  readonly usedAt: Instant | null;
}
interface StoredSession extends SessionDetails {
  readonly person: string;
}
interface StoredReset {
  readonly person: string;
  readonly expiresAt: Instant;
}
export interface StoredPhone extends Phone {
  readonly endpointSince: Instant | null;
}
export interface StoredGonePhone extends GonePhone {
  readonly keeper: string;
  readonly phone: string | null; // null: a renewal brings none back
  readonly addedAt: Instant;
}
export interface StoredFeeder extends FeederRow {
  readonly keyHash: string;
  readonly nextCheckAt: Instant;
  /** Why its state can't be used; null: it can. */
  readonly problem: string | null;
}
export interface Pack {
  readonly firstStep: number;
  readonly lastStep: number;
  readonly lastAt: Instant;
  readonly isThinned: boolean;
  /** What its lines led to, since a thinned log doesn't tell it any more. Null: not thinned, or no line could be taken. */
  readonly steppedTo: SteppedState | null;
}
export interface StoredRollup extends LevelledRollup {
  readonly feeder: string;
}
export interface StoredEscalation {
  readonly yard: string;
  readonly feeder: string | null;
  readonly escalation: Escalation;
  readonly nextAt: Instant | null;
}
export interface Item {
  readonly id: string;
  readonly channel: Channel;
  readonly person: string;
  readonly phone: string | null;
  readonly yard: string | null;
  readonly feeder: string | null;
  readonly content: NotificationContent;
  readonly writtenAt: Instant;
  readonly status: "waiting" | "delivered" | "givenUp" | "replaced" | "needless";
  readonly dueAt: Instant;
  readonly claimedUntil: Instant | null;
  readonly attempts: number;
  readonly mayHaveArrived: boolean;
  readonly sentTo: string | null;
  readonly settledAt: Instant | null;
  readonly displayedAt: Instant | null;
}
interface StoredDay extends Digest {
  readonly yard: string;
  readonly localDate: string;
}

/** @returns false where there is one already */
export function addIfNew<Row>(table: Map<string, Row>, key: string, row: Row): boolean {
  if (table.has(key)) return false;
  table.set(key, row);
  return true;
}
