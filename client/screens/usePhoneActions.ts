import { useEffect, useRef, useState } from "preact/hooks";
import {
  notAllowedText,
  sameAddressText,
  signOutOfflineText,
  tryWithConnectionText,
  turnOnFailedText,
  unnamedPhone,
} from "#text/phonesScreen.ts";
import { cannotReachText } from "#text/screens.ts";
import { api } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { useLoad } from "../components/useLoad.ts";
import { connectionState, phoneChangeCount, signOut } from "../state/home.ts";
import { ownEndpoint, type SwitchOnOutcome, switchOff, switchOn, updateOwnEndpoint } from "../state/ownPhone.ts";
import { loadPhones, phones, removeOwnEndpoint, storedEndpoint } from "../state/phones.ts";
import { awaitTestReceipts, type TestPushProgress } from "../state/testPush.ts";
import { loadErrorText } from "./notFound.tsx";

export interface PhoneActions {
  readonly busy: boolean;
  readonly error: string | null;
  readonly test: readonly TestPushProgress[];
  turnOn(label: string): Promise<void>;
  remove(endpoint: string): Promise<void>;
  sendTest(): Promise<void>;
  signOut(): Promise<void>;
}

/** Loads the phones, and does one thing with them at a time. */
export function usePhoneActions(): PhoneActions {
  const [error, setError] = useState<string | null>(null);
  const [test, setTest] = useState<readonly TestPushProgress[]>([]);
  const [busy, setBusy] = useState(false);
  const isLeft = useIsLeft();
  const isOffline = connectionState.value === "offline";
  useEffect(() => {
    void updateOwnEndpoint(); // again once the connection is back
  }, [isOffline]);

  const load = async () => {
    const result = await loadPhones();
    const problem = loadErrorText(result);
    // What is wrong with an action stays until the next one.
    setError((before) => problem ?? (before === cannotReachText ? null : before));
    return result;
  };
  useLoad(load, [phoneChangeCount.value]);

  /** Each `action` resolves to what went wrong, or null. */
  const run = async (action: () => Promise<string | null>, thenLoad = false) => {
    setBusy(true);
    setError(null);
    const problem = await action();
    if (problem !== null) setError(problem);
    else if (thenLoad) await load();
    setBusy(false);
  };
  const watch = { load: loadPhones, report: setTest, isOver: () => isLeft.current };
  return {
    busy,
    error,
    test,
    turnOn: (label) => run(() => turnOn(label || unnamedPhone), true),
    remove: (endpoint) => run(() => remove(endpoint), true),
    sendTest: () => run(() => sendTest(watch)),
    signOut: () => run(async () => ((await signOut()) ? null : signOutOfflineText)),
  };
}

/** Whether the screen was left, for work that goes on after that. */
function useIsLeft() {
  const isLeft = useRef(false);
  useEffect(
    () => () => {
      isLeft.current = true;
    },
    [],
  );
  return isLeft;
}

async function turnOn(label: string): Promise<string | null> {
  const result = await loadPhones(); // whether the server lists this browser's address must be known now
  if (result.kind !== "ok") return loadErrorText(result);
  return turnOnErrorText(await switchOn(result.value, label, storedEndpoint.value));
}

function turnOnErrorText(outcome: SwitchOnOutcome): string | null {
  switch (outcome.kind) {
    case "ok":
      return null;
    case "sameAddress":
      return sameAddressText;
    case "notAllowed":
      return notAllowedText;
    case "failed":
      return turnOnFailedText(outcome.text);
    case "unreachable":
      return tryWithConnectionText;
    case "problem":
    case "signedOut":
      return outcome.problem.detail;
  }
}

async function remove(endpoint: string): Promise<string | null> {
  const result = await api.removePhone(endpoint);
  if (result.kind === "unreachable") return cannotReachText;
  if (endpoint === ownEndpoint.value) await switchOff();
  if (endpoint === storedEndpoint.value) await removeOwnEndpoint();
  return null;
}

async function sendTest(watch: Parameters<typeof awaitTestReceipts>[2]): Promise<string | null> {
  const before = phones.value;
  const result = await laterApi.testPhones();
  if (result.kind !== "ok") return loadErrorText(result);
  if (before !== null) void awaitTestReceipts(result.value, before, watch);
  return null;
}
