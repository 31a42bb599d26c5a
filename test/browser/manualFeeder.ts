interface ReportAnswer {
  readonly orders: readonly { readonly id: string; readonly kind: string; readonly until: string | null }[];
}

/** A feeder that reports what the test sends. */
export class ManualFeeder {
  readonly #key: string;
  readonly #origin: string;
  #uptimeMs = 10_000;
  #seq = 0;

  constructor(key: string, origin: string) {
    this.#key = key;
    this.#origin = origin;
  }

  async reports(readings: { readonly paused: boolean }, ...events: readonly object[]): Promise<ReportAnswer> {
    this.#uptimeMs += 5_000;
    const recorded = events.map((event) => ({ seq: ++this.#seq, uptimeMs: this.#uptimeMs, ...event }));
    const response = await fetch(`${this.#origin}/api/v1/report`, {
      method: "POST",
      headers: { authorization: `Bearer ${this.#key}`, "content-type": "application/json" },
      body: JSON.stringify({ boot: "by-hand-1", sentUptimeMs: this.#uptimeMs, readings, events: recorded }),
    });
    if (!response.ok) throw new Error(`the report was refused: ${await response.text()}`);
    return (await response.json()) as ReportAnswer;
  }
}
