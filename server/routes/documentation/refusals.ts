import type { ProblemView } from "../../contract/api.ts";
import { wholeBody } from "../../contract/fieldProblem.ts";
import { parseReport } from "../../contract/lenientJson.ts";
import { readReport } from "../../contract/readReport.ts";
import { eventsPerReportMax } from "../../contract/report.ts";
import { milliseconds } from "../../domain/instant.ts";
import { texts } from "../../text/index.ts";
import { tooManyWrongKeys, unknownSenderProblem } from "../feederIdentity.ts";
import { noSocketProblem, tooManyLinksProblem, tooManyReportsProblem, usedSignatureProblem } from "../feederLink.ts";
import { outcomeProblem, type ReportOutcome } from "../ingestReport.ts";
import {
  headersTooLargeProblem,
  notFoundProblem,
  notHttpProblem,
  overloadedProblem,
  type Problem,
  problemView,
  storeBusyProblem,
  storeDamagedProblem,
  storeFullProblem,
  storeReadOnlyProblem,
  tooSlowProblem,
  unexpectedProblem,
} from "../problems.ts";

/** A refusal that a feeder can meet. The example is what the server answers, made by the same functions where that is possible. */
export interface FeederRefusal {
  readonly name: string;
  readonly when: string;
  readonly feederAction: string;
  readonly example: ProblemView;
  readonly reasons?: readonly string[]; // where `detail` names one of several
  readonly retryAfter?: string; // an example of that header, where it is sent
  readonly at: "report" | "link" | "both"; // "both": over the socket as a problem frame, or before it opens
}

type RefusedReport = Exclude<ReportOutcome, { kind: "answered" }>;
const outcomeView = (refused: RefusedReport): ProblemView => problemView(outcomeProblem(refused));
const problemExample = (problem: Problem): ProblemView => problemView(problem);

/** As the server answers a body that breaks off. */
const truncatedReport = parseReport('{"boot":');
const notJson: RefusedReport = {
  kind: "unreadable",
  errors: truncatedReport.kind === "notJson" ? [{ field: wholeBody, problem: truncatedReport.problem }] : [],
};

const unreadable = readReport({ boot: "b 7", sentUptimeMs: -5 });
if (unreadable.kind !== "unreadable") throw new Error("expected the example of a wrong report to be refused");

/** What is wrong with the request or its sender. */
const senderRefusals: readonly FeederRefusal[] = [
  {
    name: "notHttp",
    when: "What came is no HTTP request. The connection is closed.",
    feederAction: "The sender has a bug: log it and report it to its maker. Keep the events.",
    example: problemExample(notHttpProblem),
    at: "report",
  },
  {
    name: "notJson",
    when: "The body is not JSON.",
    feederAction:
      "The sender has a bug: log it and report it to its maker. Keep the events. Don't send the same body again.",
    example: outcomeView(notJson),
    at: "both",
  },
  {
    name: "unreadable",
    when: "The report as a whole can't be read. `errors` names each wrong field. Nothing is stored.",
    feederAction:
      "The sender has a bug: log `errors`. Keep the events, leave the named field out if it is optional, and send again.",
    example: outcomeView(unreadable),
    at: "both",
  },
  {
    name: "unknownSender",
    when: "There is no key, a key that no feeder has (any more), or a signature that doesn't fit. A socket doesn't open.",
    feederAction:
      "Keep the events and try again every few minutes: the keeper may have made a new key. Show it at the feeder if you can. Correct the clock if the signature's time is named; sign the nonce that comes with the refusal (in `WWW-Authenticate`, or over a broker in `nonce`) and send again at once if the nonce is.",
    example: problemExample(unknownSenderProblem(texts.feederKeys.unknownKey)),
    reasons: [
      texts.feederKeys.noHeader,
      texts.feederKeys.unknownScheme("Basic"),
      texts.feederKeys.unknownKey,
      texts.feederKeys.incompleteSignature,
      texts.feederKeys.staleSignature,
      texts.feederKeys.staleNonce,
      texts.feederKeys.wrongSignature,
    ],
    at: "both",
  },
  {
    name: "usedSignature",
    when: "A socket was opened with this very signature already. What comes over a socket is not signed, so that a signature opens only one.",
    feederAction: "Make a new signature: with the time of this second, not of the last try.",
    example: problemExample(usedSignatureProblem),
    at: "link",
  },
  {
    name: "otherFeeder",
    when: "The report has the optional field `feeder`, and the key belongs to another one: two keys are swapped.",
    feederAction: "Keep the events, and let the keeper put the right key into each feeder.",
    example: outcomeView({ kind: "otherFeeder", namedFeeder: "larch-8b1d02", keyFeeder: "rowan-4f2a9c" }),
    at: "both",
  },
  {
    name: "unknownFeeder",
    when: "The feeder was removed while its report was on the way. From the next report on it is a 401.",
    feederAction: "Stop sending until there is a new key.",
    example: outcomeView({ kind: "unknownFeeder" }),
    at: "both",
  },
  {
    name: "wrongAddress",
    when: "There is nothing at this address.",
    feederAction: "Correct the address in the sender.",
    example: problemExample(notFoundProblem("/api/v1/reports")),
    at: "report",
  },
  {
    name: "tooSlow",
    when: "The request took longer than the server waits. The connection is closed.",
    feederAction: "Keep the events. Try again with fewer of them in one report.",
    example: problemExample(tooSlowProblem),
    at: "report",
  },
  {
    name: "bootUnclear",
    when: "The boot id is in use, and the report fits none of the starts under it. Nothing of it is stored.",
    feederAction:
      "Choose a new random boot id at each start, count `seq` from 1 again, and send the events under the new id.",
    example: outcomeView({ kind: "bootUnclear", boot: "b-7f3a91c2", uptimeBefore: milliseconds(18_000_000) }),
    at: "both",
  },
  {
    name: "tooManyEvents",
    when: `The report has more than ${eventsPerReportMax.toLocaleString("en")} events. Nothing is stored.`,
    feederAction: "Send the oldest 2,000 or fewer, wait for the answer, send the next.",
    example: outcomeView({ kind: "tooMany", events: eventsPerReportMax + 1 }),
    at: "both",
  },
  {
    name: "tooManyBytes",
    when: "The body is larger than 1 MiB. A socket is closed with 1009 for it.",
    feederAction: "Send half as many events.",
    example: problemExample({ status: 413, detail: "Request body is too large" }),
    at: "report",
  },
  {
    name: "contentType",
    when: "The body has another content type than `application/json`.",
    feederAction: "The sender has a bug: send `Content-Type: application/json`.",
    example: problemExample({ status: 415, detail: "Unsupported Media Type" }),
    at: "report",
  },
  {
    name: "noSocket",
    when: "`/api/v1/link` was requested without opening a WebSocket.",
    feederAction: "Open it as a WebSocket (RFC 6455), or post to `/api/v1/report`.",
    example: problemExample(noSocketProblem),
    at: "link",
  },
  {
    name: "headersTooLarge",
    when: "The headers are larger than 16 KiB. The connection is closed.",
    feederAction: "The sender has a bug: send fewer or shorter headers.",
    example: problemExample(headersTooLargeProblem),
    at: "report",
  },
];

/** What comes too often. @param reportsPerMinute the limit of this very server. */
const limitRefusals = (reportsPerMinute: number): readonly FeederRefusal[] => [
  {
    name: "tooOften",
    when: `More than ${reportsPerMinute.toLocaleString("en")} reports came from this feeder within a minute.`,
    feederAction:
      "Wait as many seconds as `Retry-After` states (over a socket: until the next minute), then send more events in each report.",
    example: problemExample(tooManyReportsProblem(reportsPerMinute)),
    retryAfter: "60",
    at: "both",
  },
  {
    name: "tooManyWrongKeys",
    when: "Many wrong keys or signatures came from this address within a minute, and this one is wrong too.",
    feederAction: "As after a 401, and wait as many seconds as `Retry-After` states.",
    example: problemExample(tooManyWrongKeys),
    retryAfter: "60",
    at: "report",
  },
  {
    name: "tooManyLinks",
    when: "The feeder has opened more than 30 sockets within a minute.",
    feederAction: "Keep the open socket. Wait as many seconds as `Retry-After` states, and report over HTTP meanwhile.",
    example: problemExample(tooManyLinksProblem),
    retryAfter: "60",
    at: "link",
  },
  {
    name: "overloaded",
    when: "More comes than the server can take. Nothing is stored.",
    feederAction: "Wait as many seconds as `Retry-After` states and send the same again.",
    example: problemExample(overloadedProblem),
    retryAfter: "10",
    at: "both",
  },
];

/** What the server can't do. */
const serverRefusals: readonly FeederRefusal[] = [
  {
    name: "bug",
    when: "Something went wrong in the server. It is written in the server's log.",
    feederAction:
      "Keep the events and try again after a minute, then less often: wait twice as long each time, up to ten minutes.",
    example: problemExample(unexpectedProblem),
    at: "both",
  },
  {
    name: "storeBusy",
    when: "The database is locked. Nothing is stored.",
    feederAction: "Wait as many seconds as `Retry-After` states and send the same again.",
    example: problemExample(storeBusyProblem),
    retryAfter: "5",
    at: "both",
  },
  {
    name: "storeFull",
    when: "The server's disk is full. Nothing is stored.",
    feederAction: "Keep the events, as many as there is space for, and try again each minute.",
    example: problemExample(storeFullProblem),
    retryAfter: "60",
    at: "both",
  },
  {
    name: "storeReadOnly",
    when: "The server can't write to its database file or its disk. Nothing is stored.",
    feederAction: "Keep the events, as many as there is space for, and try again each minute.",
    example: problemExample(storeReadOnlyProblem),
    retryAfter: "60",
    at: "both",
  },
  {
    name: "storeDamaged",
    when: "The server's database is damaged. Nothing is stored until its keeper has restored a backup.",
    feederAction: "Keep the events, as many as there is space for, and try again each minute.",
    example: problemExample(storeDamagedProblem),
    retryAfter: "60",
    at: "both",
  },
];

/** @param reportsPerMinute the limit of this very server. */
export const feederRefusals = (reportsPerMinute: number): readonly FeederRefusal[] => [
  ...senderRefusals,
  ...limitRefusals(reportsPerMinute),
  ...serverRefusals,
];
