import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { LocationProvider, lazy, Route, Router, useLocation } from "preact-iso";
import {
  daysTab,
  menuLabel,
  noPageText,
  noPageTitle,
  notLoadedText,
  notLoadedTitle,
  notSafetyDeviceText,
  reloadLabel,
  skipLabel,
  trainingTab,
  youTab,
} from "#text/app.ts";
import { appName, feedersTitle, safetyInformationLabel } from "#text/common.ts";
import { TabIcon } from "./charts/icons.tsx";
import { LinkedText } from "./components/linkedText.tsx";
import { Screen } from "./components/screen.tsx";
import { StatusBar } from "./components/statusBar.tsx";
import { HomeScreen } from "./screens/homeScreen.tsx";
import { SignInScreen } from "./screens/signInScreen.tsx";
import { announcement, frameNote } from "./state/announcement.ts";
import { sessionEnd, signedIn } from "./state/home.ts";

export const App = () => (
  <LocationProvider>
    <Frame />
  </LocationProvider>
);

const tabs = [
  { href: "/", name: "feeders", label: feedersTitle },
  { href: "/days", name: "days", label: daysTab },
  { href: "/training", name: "training", label: trainingTab },
  { href: "/you", name: "you", label: youTab },
] as const;

/** Pages that need no session: three by a link with a secret, and what everybody should know. */
const publicPaths = ["/first-sign-in", "/join", "/reset", "/cautions"];

function Frame() {
  const { path, route } = useLocation();
  useEffect(() => {
    const open = (event: Event) => route((event as CustomEvent<string>).detail);
    addEventListener(openEvent, open);
    return () => removeEventListener(openEvent, open);
  }, [route]);
  const mustSignIn = signedIn.value === "no" && !publicPaths.includes(path);
  return (
    <div class="frame">
      <a class="skip" href="#page">
        {skipLabel}
      </a>
      <header class="page-header">
        <a class="name" href="/">
          {appName}
        </a>
        {signedIn.value !== "no" && path !== "/first-sign-in" && <Tabs path={path} />}
      </header>
      <StatusBar />
      <main id="page" tabIndex={-1}>
        {mustSignIn && <SignInScreen />}
        {/* A screen that was open when the session ended keeps what was entered in it. */}
        {(!mustSignIn || sessionEnd.value === "here") && (
          <div class="screens" hidden={mustSignIn}>
            <Screens />
          </div>
        )}
      </main>
      {frameNote.value}
      <Footer />
      <p class="hidden" role="status" aria-live="polite">
        {announcement.value}
      </p>
    </div>
  );
}

const Footer = () => (
  <footer>
    <p>
      {notSafetyDeviceText} <a href="/cautions">{safetyInformationLabel}</a>
    </p>
  </footer>
);

const Tabs = ({ path }: { readonly path: string }) => (
  <nav class="tabs" aria-label={menuLabel}>
    {tabs.map(({ href, name, label }) => (
      <a key={href} href={href} aria-current={placeOf(path) === name ? "page" : undefined}>
        <TabIcon name={name} />
        {label}
      </a>
    ))}
  </nav>
);

/** In which of the four places a page is. */
function placeOf(path: string): (typeof tabs)[number]["name"] {
  if (/^\/days(\/|$)|\/(days|digest|alarm-history)$/.test(path)) return "days";
  if (/^\/training|\/(training|notes|pictures|report|plan)(\/|$)/.test(path)) return "training";
  return /^\/(you|phones|account|practice|cautions)/.test(path) ? "you" : "feeders";
}

const Screens = () => (
  <Router>
    <Route path="/" component={HomeScreen} />
    <Route path="/feeders/new" component={AddFeederScreen} />
    <Route path="/feeders/:id" component={FeederById} />
    <Route path="/feeders/:id/days" component={DaysById} />
    <Route path="/feeders/:id/refill" component={RefillById} />
    <Route path="/feeders/:id/plan" component={PlanById} />
    <Route path="/feeders/:id/bench" component={BenchById} />
    <Route path="/feeders/:id/settings" component={SettingsById} />
    <Route path="/yards/new" component={AddYardScreen} />
    <Route path="/yards/:id" component={YardById} />
    <Route path="/yards/:id/digest" component={DigestById} />
    <Route path="/yards/:id/alarm-history" component={AlarmRatesById} />
    <Route path="/yards/:id/recipients" component={RecipientsById} />
    <Route path="/yards/:id/:page/:part?" component={RecordScreens} />
    <Route path="/days/:id?" component={DaysPlace} />
    <Route path="/days/:id/compare" component={CompareById} />
    <Route path="/training" component={TrainingPlace} />
    <Route path="/you" component={YouScreen} />
    <Route path="/phones" component={YouScreen} />
    <Route path="/account" component={AccountScreen} />
    <Route path="/practice" component={PracticeScreen} />
    <Route path="/cautions" component={CautionsScreen} />
    <Route path="/first-sign-in" component={FirstSignInScreen} />
    <Route path="/join" component={JoinScreen} />
    <Route path="/reset" component={ResetPassphraseScreen} />
    <Route default component={NoSuchPage} />
  </Router>
);

/**
 * A screen in a file of its own, so that a first opening on a weak connection does not wait for it. Where it can't be loaded,
 * an error screen is shown in its place.
 */
const lazyScreen = <Props,>(load: () => Promise<ComponentType<Props>>) =>
  lazy(
    (): Promise<ComponentType<Props>> =>
      new Promise((resolve) => {
        const giveUp = (cause: unknown) => {
          console.warn("A screen could not be loaded.", cause);
          resolve(NotLoaded);
        };
        setTimeout(() => giveUp(new Error("The time limit has passed.")), screenLoadTimeoutMs);
        load().then(resolve, giveUp);
      }),
  );
const screenLoadTimeoutMs = 12_000;

const NotLoaded = () => (
  <Screen title={notLoadedTitle}>
    <p class="empty">{notLoadedText}</p>
    <div class="actions">
      <button type="button" onClick={() => location.reload()}>
        {reloadLabel}
      </button>
    </div>
  </Screen>
);

const linkScreens = () => import("./screens/linkScreens.ts");
const setUpScreens = () => import("./screens/setUpScreens.ts");
const yardScreens = () => import("./screens/yardScreens.ts");
const AccountScreen = lazyScreen(() => import("./screens/accountScreen.tsx").then((part) => part.AccountScreen));
const CautionsScreen = lazyScreen(() => import("./screens/cautionsScreen.tsx").then((part) => part.CautionsScreen));
const FirstSignInScreen = lazyScreen(() => linkScreens().then((part) => part.FirstSignInScreen));
const DaysScreen = lazyScreen(() => import("./screens/daysScreen.tsx").then((part) => part.DaysScreen));
const DigestScreen = lazyScreen(() => import("./screens/digestScreen.tsx").then((part) => part.DigestScreen));
const FeederScreen = lazyScreen(() => import("./screens/feederScreen.tsx").then((part) => part.FeederScreen));
const DaysPlace = lazyScreen(() => import("./screens/daysPlace.tsx").then((part) => part.DaysPlace));
const CompareScreen = lazyScreen(() => import("./screens/compareScreen.tsx").then((part) => part.CompareScreen));
const TrainingPlace = lazyScreen(() => import("./screens/recordScreens.tsx").then((part) => part.TrainingPlace));
const YouScreen = lazyScreen(() => import("./screens/youScreen.tsx").then((part) => part.YouScreen));
const BenchScreen = lazyScreen(() => import("./screens/benchScreen.tsx").then((part) => part.BenchScreen));
const PlanScreen = lazyScreen(() => import("./screens/planScreen.tsx").then((part) => part.PlanScreen));
const RefillScreen = lazyScreen(() => import("./screens/refillScreen.tsx").then((part) => part.RefillScreen));
const AddFeederScreen = lazyScreen(() => setUpScreens().then((part) => part.AddFeederScreen));
const FeederSettingsScreen = lazyScreen(() => setUpScreens().then((part) => part.FeederSettingsScreen));
const YardScreen = lazyScreen(() => yardScreens().then((part) => part.YardScreen));
const AlarmRatesScreen = lazyScreen(() =>
  import("./screens/alarmRatesScreen.tsx").then((part) => part.AlarmRatesScreen),
);
const RecipientsScreen = lazyScreen(() =>
  import("./screens/recipientsScreen.tsx").then((part) => part.RecipientsScreen),
);
const RecordScreens = lazyScreen(() => import("./screens/recordScreens.tsx").then((part) => part.RecordScreens));
const AddYardScreen = lazyScreen(() => yardScreens().then((part) => part.AddYardScreen));
const ResetPassphraseScreen = lazyScreen(() => linkScreens().then((part) => part.ResetPassphraseScreen));
const JoinScreen = lazyScreen(() => linkScreens().then((part) => part.JoinScreen));
const PracticeScreen = lazyScreen(() => import("./screens/practiceScreen.tsx").then((part) => part.PracticeScreen));

// Keyed by id: a half-filled form must not go along to the next feeder.
interface ById {
  readonly id?: string;
}
const FeederById = ({ id = "" }: ById) => <FeederScreen key={id} id={id} />;
const BenchById = ({ id = "" }: ById) => <BenchScreen key={id} id={id} />;
const PlanById = ({ id = "" }: ById) => <PlanScreen key={id} id={id} />;
const RefillById = ({ id = "" }: ById) => <RefillScreen key={id} id={id} />;
const SettingsById = ({ id = "" }: ById) => <FeederSettingsScreen key={id} id={id} />;
const DaysById = ({ id = "" }: ById) => <DaysScreen key={id} id={id} />;
const CompareById = ({ id = "" }: ById) => <CompareScreen key={id} id={id} />;
const RecipientsById = ({ id = "" }: ById) => <RecipientsScreen key={id} id={id} />;
const DigestById = ({ id = "" }: ById) => <DigestScreen key={id} id={id} />;
const AlarmRatesById = ({ id = "" }: ById) => <AlarmRatesScreen key={id} id={id} />;
const YardById = ({ id = "" }: ById) => <YardScreen key={id} id={id} />;

const NoSuchPage = () => (
  <Screen title={noPageTitle}>
    <p class="empty">
      <LinkedText text={noPageText} hrefs={["/"]} />
    </p>
  </Screen>
);

const openEvent = "pieward-open";
/** Goes to a page from outside the tree: the keeper tapped a notification. */
export const openPath = (path: string) => dispatchEvent(new CustomEvent(openEvent, { detail: path }));
