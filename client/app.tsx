import type { ComponentType } from "preact";
import { useEffect } from "preact/hooks";
import { LocationProvider, lazy, Route, Router, useLocation } from "preact-iso";
import { TabGlyph } from "./drawing/glyphs.tsx";
import { Notices } from "./parts/notices.tsx";
import { Screen } from "./parts/screen.tsx";
import { HomeScreen } from "./screens/homeScreen.tsx";
import { SignInScreen } from "./screens/signInScreen.tsx";
import { announced } from "./state/announce.ts";
import { signedIn, signedOut } from "./state/home.ts";

export const App = () => (
  <LocationProvider>
    <Frame />
  </LocationProvider>
);

const tabs = [
  { href: "/", name: "feeders", label: "Feeders" },
  { href: "/phones", name: "phones", label: "Phones" },
  { href: "/practice", name: "practice", label: "Practice" },
  { href: "/cautions", name: "cautions", label: "Cautions" },
] as const;

/** Pages for whoever isn't signed in: three by a link with a secret, and what everybody should know. */
const openToAll = ["/claim", "/join", "/reset", "/cautions"];

function Frame() {
  const { path, route } = useLocation();
  useEffect(() => {
    const open = (event: Event) => route((event as CustomEvent<string>).detail);
    addEventListener(openEvent, open);
    return () => removeEventListener(openEvent, open);
  }, [route]);
  const mustSignIn = signedIn.value === "no" && !openToAll.includes(path);
  const isHere = (href: string) =>
    href === "/" ? path === "/" || path.startsWith("/feeders") || path.startsWith("/yards") : path === href;
  return (
    <div class="notebook">
      <a class="skip" href="#page">
        Skip to the page
      </a>
      <header class="masthead">
        <a class="name" href="/">
          Pieward
        </a>
        {signedIn.value !== "no" && path !== "/claim" && (
          <nav class="tabs" aria-label="Notebook">
            {tabs.map(({ href, name, label }) => (
              <a key={href} href={href} aria-current={isHere(href) ? "page" : undefined}>
                <TabGlyph name={name} />
                {label}
              </a>
            ))}
          </nav>
        )}
      </header>
      <Notices />
      <main id="page" tabIndex={-1}>
        {mustSignIn && <SignInScreen />}
        {/* A screen that was open when the session ended keeps what was entered in it, for after signing in again. */}
        {(!mustSignIn || signedOut.value === "here") && (
          <div class="screens" hidden={mustSignIn}>
            <Screens />
          </div>
        )}
      </main>
      <footer>
        <p>
          Pieward helps you notice; it is no safety device. <a href="/cautions">Usual cautions</a>
        </p>
      </footer>
      <p class="hidden" role="status" aria-live="polite">
        {announced.value}
      </p>
    </div>
  );
}

const Screens = () => (
  <Router>
    <Route path="/" component={HomeScreen} />
    <Route path="/feeders/new" component={AddFeederScreen} />
    <Route path="/feeders/:id" component={FeederById} />
    <Route path="/feeders/:id/days" component={DaysById} />
    <Route path="/feeders/:id/refill" component={RefillById} />
    <Route path="/feeders/:id/settings" component={SettingsById} />
    <Route path="/yards/new" component={AddYardScreen} />
    <Route path="/yards/:id" component={YardById} />
    <Route path="/yards/:id/digest" component={DigestById} />
    <Route path="/yards/:id/rates" component={RatesById} />
    <Route path="/yards/:id/people" component={PeopleById} />
    <Route path="/phones" component={PhonesScreen} />
    <Route path="/account" component={AccountScreen} />
    <Route path="/practice" component={PracticeScreen} />
    <Route path="/cautions" component={CautionsScreen} />
    <Route path="/claim" component={ClaimScreen} />
    <Route path="/join" component={JoinScreen} />
    <Route path="/reset" component={ResetScreen} />
    <Route default component={NoSuchPage} />
  </Router>
);

/**
 * A page that is opened now and then, and by nobody in a hurry: fetched apart, so that a first opening on a weak line waits for
 * nothing of it. Where it can't be fetched, it says so in its place.
 */
const apart = <Props,>(load: () => Promise<ComponentType<Props>>) =>
  lazy(
    (): Promise<ComponentType<Props>> =>
      new Promise((resolve) => {
        const giveUp = (cause: unknown) => {
          console.warn("A screen could not be loaded.", cause);
          resolve(NotLoaded);
        };
        setTimeout(() => giveUp("nothing answered in time"), screenPatienceMs);
        load().then(resolve, giveUp);
      }),
  );
const screenPatienceMs = 12_000;

const NotLoaded = () => (
  <Screen title="This page could not be loaded">
    <p class="empty">There is no connection, or the server has a newer version. What waits on this phone is kept.</p>
    <div class="answers">
      <button type="button" onClick={() => location.reload()}>
        Reload
      </button>
    </div>
  </Screen>
);

const linkScreens = () => import("./screens/linkScreens.ts");
const setUpScreens = () => import("./screens/setUpScreens.ts");
const yardScreens = () => import("./screens/yardScreens.ts");
const AccountScreen = apart(() => import("./screens/account.tsx").then((part) => part.AccountScreen));
const CautionsScreen = apart(() => import("./screens/cautionsScreen.tsx").then((part) => part.CautionsScreen));
const ClaimScreen = apart(() => linkScreens().then((part) => part.ClaimScreen));
const DaysScreen = apart(() => import("./screens/daysScreen.tsx").then((part) => part.DaysScreen));
const DigestScreen = apart(() => import("./screens/digestScreen.tsx").then((part) => part.DigestScreen));
const FeederScreen = apart(() => import("./screens/feederScreen.tsx").then((part) => part.FeederScreen));
const PhonesScreen = apart(() => import("./screens/phonesScreen.tsx").then((part) => part.PhonesScreen));
const RefillScreen = apart(() => import("./screens/refillScreen.tsx").then((part) => part.RefillScreen));
const AddFeederScreen = apart(() => setUpScreens().then((part) => part.AddFeederScreen));
const FeederSettingsScreen = apart(() => setUpScreens().then((part) => part.FeederSettingsScreen));
const YardScreen = apart(() => yardScreens().then((part) => part.YardScreen));
const RatesScreen = apart(() => import("./screens/ratesScreen.tsx").then((part) => part.RatesScreen));
const PeopleScreen = apart(() => import("./screens/peopleScreen.tsx").then((part) => part.PeopleScreen));
const AddYardScreen = apart(() => yardScreens().then((part) => part.AddYardScreen));
const ResetScreen = apart(() => linkScreens().then((part) => part.ResetScreen));
const JoinScreen = apart(() => linkScreens().then((part) => part.JoinScreen));
const PracticeScreen = apart(() => import("./screens/practiceScreen.tsx").then((part) => part.PracticeScreen));

// Keyed by id: going from one feeder to the next must not carry a half-filled form along.
interface ById {
  readonly id?: string;
}
const FeederById = ({ id = "" }: ById) => <FeederScreen key={id} id={id} />;
const RefillById = ({ id = "" }: ById) => <RefillScreen key={id} id={id} />;
const SettingsById = ({ id = "" }: ById) => <FeederSettingsScreen key={id} id={id} />;
const DaysById = ({ id = "" }: ById) => <DaysScreen key={id} id={id} />;
const PeopleById = ({ id = "" }: ById) => <PeopleScreen key={id} id={id} />;
const DigestById = ({ id = "" }: ById) => <DigestScreen key={id} id={id} />;
const RatesById = ({ id = "" }: ById) => <RatesScreen key={id} id={id} />;
const YardById = ({ id = "" }: ById) => <YardScreen key={id} id={id} />;

const NoSuchPage = () => (
  <Screen title="No such page">
    <p class="empty">
      This page isn't in the notebook. <a href="/">Go to the feeders</a>
    </p>
  </Screen>
);

const openEvent = "pieward-open";
/** Goes to a page from outside the tree: the keeper tapped a notice. */
export const openPath = (path: string) => dispatchEvent(new CustomEvent(openEvent, { detail: path }));
