import type { VNode } from "preact";
import { useState } from "preact/hooks";
import { loadingText } from "#text/common.ts";
import { asOfText, notOnPhoneText } from "#text/daysPlace.ts";
import type { HistoryView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { now } from "../state/clock.ts";
import { findHistory, type HistoryQuery, loadHistory, type StoredHistory } from "../state/histories.ts";
import { connectionState } from "../state/home.ts";
import { momentText } from "../text/clock.ts";
import { useLoad } from "./useLoad.ts";

interface Loaded {
  /** In the order of the queries; null: not known here. */
  readonly found: readonly (StoredHistory | null)[];
  /** Why there is nothing, or of when it is; null where all is of now. */
  readonly notice: VNode | null;
}

/**
 * Loads histories one after the other, the first one first on a weak connection, and has what the phone knows of them.
 * @param reasons load again when one of them changes, besides the queries' names
 */
export function useHistories(queries: readonly HistoryQuery[], zone: string, reasons: readonly unknown[] = []): Loaded {
  const [problem, setProblem] = useState<string | null>(null);
  const names = queries.map(({ feeder, name }) => `${feeder} ${name}`).join();
  useLoad(async () => {
    let result: ApiResult<HistoryView | null> = { kind: "ok", value: null };
    for (const query of queries) {
      result = await loadHistory(query);
      if (result.kind !== "ok") break;
    }
    setProblem(result.kind === "problem" ? result.problem.detail : null);
    return result;
  }, [names, ...reasons]);
  const found = queries.map(findHistory);
  return { found, notice: noticeOf(found, problem, zone) };
}

function noticeOf(found: readonly (StoredHistory | null)[], problem: string | null, zone: string): VNode | null {
  const isOffline = connectionState.value === "offline";
  const stored = found.flatMap((each) => each ?? []);
  const asOf = Math.min(...stored.map((each) => each.asOf));
  const age = asOfText(momentText(new Date(Number.isFinite(asOf) ? asOf : 0).toISOString(), now.value, zone));
  if (stored.length === found.length) {
    return isOffline || problem !== null ? <p class="notice">{[problem, age].filter(Boolean).join(" ")}</p> : null;
  }
  if (problem !== null) return <p class="notice">{problem}</p>;
  return isOffline ? <p class="notice">{notOnPhoneText}</p> : <p class="empty first-load">{loadingText}</p>;
}
