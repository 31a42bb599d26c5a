/**
 * What the server can know so far: only what reached it through its own routes, each fact placed by the feeder's own order of
 * things. It is written from the protocol alone, so that it can check what the server makes of the same facts.
 */

export const minute = 60_000;

/** A place in a feeder's life: its n-th start, and the uptime within it. */
export interface BootPosition {
  readonly start: number;
  readonly uptimeMs: number;
}
const isLater = (one: BootPosition, other: BootPosition | null): boolean =>
  other === null || one.start > other.start || (one.start === other.start && one.uptimeMs > other.uptimeMs);

/** An event with what the checks knows about it beyond its body. */
export interface KnownEvent {
  readonly place: BootPosition;
  readonly happenedAt: number;
  readonly kind: string;
  readonly order?: string;
  readonly outcome?: string;
}

export interface ArrivedReport {
  readonly at: number;
  /** How many reports reached the server before, so that two can be distinguished. */
  readonly number: number;
  readonly status: number;
  readonly place: BootPosition | null; // when it was sent; null where it brings what an earlier start left behind
  readonly paused: boolean | null; // null where the reading is missing or no boolean
  readonly stored: readonly KnownEvent[]; // without those that the answer refuses
  readonly startedAnewUnderKnownBoot: boolean;
}

export interface RequestedOrder {
  readonly id: string;
  readonly kind: "pause" | "resume";
  readonly until: number | null;
  readonly askedAt: number;
}

interface Statement {
  readonly place: BootPosition;
  readonly report: number;
  readonly paused: boolean;
  readonly order: string | null; // by a "done"; null: by the reading
  readonly happenedAt: number;
}

/** What is known of whether food is given. `unknown` where it started again and has reported nothing since, or never. */
export type Feeding = "paused" | "feeds" | "unknown";

export class FeederKnowledge {
  readonly orders: RequestedOrder[] = [];
  lastArrivalAt: number | null = null; // any report, readable or not
  lastReadableAt: number | null = null;
  readableReports = 0;
  unreadableSince: number | null = null;
  firstReadableAt: number | null = null;
  bootReusedAt: number | null = null;
  foodThoughPausedAt: number | null = null;
  contradictedAt: number | null = null;
  readonly refusedOrders = new Set<string>();
  /** The longest that it kept quiet between two arrivals: its rhythm, as far as it showed one. */
  longestGapMs = 0;
  /** Since when the newest order has been open: requested and not carried out, or undone after it was. Null while it is settled. */
  openSince: number | null = null;
  private openOrder: string | null = null;
  private statement: Statement | null = null;
  private reading: Statement | null = null;
  private readonly done = new Map<string, { readonly place: BootPosition; readonly happenedAt: number }>();
  private newestStart = 0;
  private startUnknown = false;
  private gave: { readonly place: BootPosition; readonly report: number } | null = null;

  newestOrder(): RequestedOrder | null {
    return this.orders.at(-1) ?? null;
  }

  isDone(order: string): boolean {
    return this.done.has(order);
  }

  /** What the newest reading and the newest statement of any kind was; null before the first. */
  statements(): readonly boolean[] {
    return [this.statement, this.reading].flatMap((one) => (one === null ? [] : [one.paused]));
  }

  feeding(now: number): Feeding {
    if (this.statement === null || this.startUnknown) return "unknown";
    if (this.statement.place.start < this.newestStart) return "unknown";
    if (!this.statement.paused) return "feeds";
    if (this.gave !== null) return "feeds";
    const order = this.orders.find(({ id }) => id === this.statement?.order);
    if (order?.until != null && order.until <= now) return "unknown"; // it ends by itself, and nothing was stated since
    return "paused";
  }

  /** Whether the newest order has been answered, or the feeder reports by itself what the order wants. */
  isSettled(now: number): boolean {
    const order = this.newestOrder();
    if (order === null || this.refusedOrders.has(order.id)) return true;
    if (order.until !== null && order.until <= now) return true;
    const feeding = this.feeding(now);
    if (order.kind === "pause") return feeding === "paused";
    return feeding === "feeds" || (this.done.has(order.id) && feeding !== "paused");
  }

  /** Once a step, when all of it has arrived. */
  observe(now: number): void {
    const order = this.newestOrder();
    if (order === null || this.isSettled(now)) {
      this.openSince = null;
    } else if (this.openSince === null || this.openOrder !== order.id) {
      this.openSince = this.openOrder === order.id ? now : order.askedAt;
    }
    this.openOrder = order?.id ?? null;
  }

  take(report: ArrivedReport): void {
    if (this.lastArrivalAt !== null) this.longestGapMs = Math.max(this.longestGapMs, report.at - this.lastArrivalAt);
    this.lastArrivalAt = report.at;
    if (report.startedAnewUnderKnownBoot) this.bootReusedAt = report.at;
    if (report.status !== 200) {
      if (report.status === 400) this.unreadableSince ??= report.at;
      if (report.startedAnewUnderKnownBoot) this.startUnknown = true;
      return;
    }
    this.unreadableSince = null;
    this.lastReadableAt = report.at;
    this.firstReadableAt ??= report.at;
    this.readableReports += 1;
    if (report.place !== null && report.place.start > this.newestStart) {
      this.newestStart = report.place.start;
      this.startUnknown = false;
    }
    for (const event of report.stored) this.takeEvent(event, report);
    if (report.place !== null && report.paused !== null) this.takeReading(report.place, report.paused, report);
  }

  private takeEvent(event: KnownEvent, report: ArrivedReport): void {
    if (event.place.start > this.newestStart) this.newestStart = event.place.start;
    if (event.kind === "portion") this.takePortion(event, report);
    if (event.kind !== "order" || event.order === undefined) return;
    if (event.outcome === "refused") this.refusedOrders.add(event.order);
    const order = this.orders.find(({ id }) => id === event.order);
    if (event.outcome !== "done" || order === undefined) return;
    const earlier = this.done.get(event.order);
    if (isLater(event.place, earlier?.place ?? null)) this.done.set(event.order, event);
    this.addStatement({
      place: event.place,
      report: report.number,
      paused: order.kind === "pause",
      order: order.id,
      happenedAt: event.happenedAt,
    });
  }

  private addStatement(statement: Statement): void {
    if (!isLater(statement.place, this.statement?.place ?? null)) return;
    // A feeder that gave food while it called itself paused isn't believed by a reading of that very report.
    const isNews =
      statement.order !== null || !statement.paused || this.gave === null || statement.report > this.gave.report;
    if (isNews && (this.gave === null || isLater(statement.place, this.gave.place))) this.gave = null;
    this.statement = statement;
  }

  private takePortion({ place, happenedAt }: KnownEvent, report: ArrivedReport): void {
    if (this.statement?.paused && isLater(place, this.statement.place) && !this.endedBy(happenedAt)) {
      if (isLater(place, this.gave?.place ?? null)) this.gave = { place, report: report.number };
    }
    const order = this.newestOrder();
    const done = order === null ? undefined : this.done.get(order.id);
    if (order?.kind !== "pause" || done === undefined) return;
    const stands = order.until === null || order.until > happenedAt;
    if (stands && isLater(place, done.place) && report.at - happenedAt < 10 * minute)
      this.foodThoughPausedAt = report.at;
  }

  private endedBy(at: number): boolean {
    const order = this.orders.find(({ id }) => id === this.statement?.order);
    return order?.until != null && order.until <= at;
  }

  private takeReading(place: BootPosition, paused: boolean, report: ArrivedReport): void {
    const statement: Statement = { place, report: report.number, paused, order: null, happenedAt: report.at };
    if (!isLater(place, this.reading?.place ?? null)) return;
    this.reading = statement;
    const order = this.newestOrder();
    const done = order === null ? undefined : this.done.get(order.id);
    const stands = order?.kind === "pause" && (order.until === null || order.until > report.at);
    if (stands && done !== undefined && done.place.start === place.start && isLater(place, done.place) && !paused) {
      this.contradictedAt = report.at;
    }
    this.addStatement(statement);
  }
}

/** A screen of a phone that showed a notification, by the address that it was pushed to. */
export interface KnownReceipt {
  readonly at: number;
  readonly feeder: string | null;
  readonly fault: string | null;
  readonly person: string;
}

/** What is known of one address of a push service. */
export class EndpointKnowledge {
  /** Since when the server lists it. */
  listedAt: number;
  readonly receipts: KnownReceipt[] = [];
  /** Its push service answered 404 or 410 to the server, or the phone was taken away by its owner. */
  goneAt: number | null = null;

  readonly person: string;

  constructor(person: string, at: number) {
    this.person = person;
    this.listedAt = at;
  }

  /** Registered again after it was gone: earlier receipts prove nothing now. */
  listAnew(at: number): void {
    if (this.goneAt === null) return;
    this.receipts.length = 0;
    [this.goneAt, this.listedAt] = [null, at];
  }

  isProved(now: number): boolean {
    return this.goneAt === null && this.receipts.some(({ at }) => at >= this.listedAt && now - at <= provedFor);
  }
}

/** Longer than any promise that a display receipt could carry. */
const provedFor = 14 * 24 * 60 * minute;
