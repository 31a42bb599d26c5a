import { useState } from "preact/hooks";
import { safetyInformationLabel } from "#text/common.ts";
import * as text from "#text/ownLinks.ts";
import { laterApi } from "../api/laterApi.ts";
import { yards } from "../state/home.ts";
import { useLoad } from "./useLoad.ts";

interface PageLink {
  readonly href: string;
  readonly label: string;
  readonly detail: string;
}

/** All settings within three taps of the first page, and what is needed seldom. */
export function OwnLinks() {
  const real = yards.value.filter(({ practice }) => !practice);
  const settings: readonly PageLink[] = [
    ...real.map(({ id, name }) => ({
      href: `/yards/${id}/recipients`,
      label: text.quietHoursLabel(name),
      detail: text.quietHoursText,
    })),
    ...real.map(({ id, name }) => ({ href: `/yards/${id}`, label: text.yardLabel(name), detail: text.yardText })),
    { href: "/account", label: text.accountLabel, detail: text.accountText },
  ];
  const more: readonly PageLink[] = [
    { href: "/practice", label: text.practiceLabel, detail: text.practiceText },
    { href: "/cautions", label: safetyInformationLabel, detail: text.safetyText },
    { href: "/api/docs", label: text.interfaceLabel, detail: text.interfaceText },
  ];
  return (
    <>
      <section class="subsection" aria-labelledby="own-settings-title">
        <h2 id="own-settings-title">{text.settingsTitle}</h2>
        <LinkList links={settings} />
      </section>
      <section class="subsection" aria-labelledby="more-title">
        <h2 id="more-title">{text.moreTitle}</h2>
        <LinkList links={more} />
        <p>
          {text.serverLabel}: <ServerStatus />
        </p>
      </section>
    </>
  );
}

const LinkList = ({ links }: { readonly links: readonly PageLink[] }) => (
  <ul class="page-links">
    {links.map(({ href, label, detail }) => (
      <li key={href}>
        {/* The interface's documentation is no screen of this program: the browser opens it itself. */}
        <a href={href} target={href.startsWith("/api/") ? "_self" : undefined}>
          {label}
        </a>{" "}
        <span class="since">{detail}</span>
      </li>
    ))}
  </ul>
);

/** As the server says itself, asked for each time this page is opened. */
function ServerStatus() {
  const [words, setWords] = useState<string>(text.serverTexts.asking);
  useLoad(async () => {
    const result = await laterApi.health();
    setWords(statusWords(result));
    return result;
  }, []);
  return <>{words}</>;
}

function statusWords(result: Awaited<ReturnType<typeof laterApi.health>>): string {
  if (result.kind === "problem") return text.serverTexts.notWell; // it answered
  if (result.kind !== "ok") return text.serverTexts.unreachable;
  const { status, broker } = result.value;
  const server = status === "well" ? text.serverTexts.well : text.serverTexts.notWell;
  return broker === undefined ? server : server + text.brokerTexts[broker];
}
