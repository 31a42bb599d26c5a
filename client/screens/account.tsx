import { PasskeySection } from "../parts/passkeySection.tsx";
import { Screen } from "../parts/screen.tsx";
import { home } from "../state/home.ts";

/** What belongs to a person and to no yard: their passphrase, where they are signed in, and the end of the account. */
export function AccountScreen() {
  const name = home.value?.view.keeper.name;
  return (
    <Screen title="Account" back={{ href: "/phones", name: "Phones" }}>
      {name !== undefined && <p>You are signed in as {name}.</p>}
      <PasskeySection />
    </Screen>
  );
}
