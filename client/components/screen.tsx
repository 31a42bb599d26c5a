import type { ComponentChildren } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { pageTitleText, practicePageTitleText } from "#text/screen.ts";
import { PracticeTag } from "./practiceTag.tsx";

/** The first screen leaves the focus as the browser set it; a later one takes it, so that a screen reader continues there. */
let isFirstScreen = true;

export function Screen(props: {
  readonly title: string;
  readonly back?: { readonly href: string; readonly name: string };
  readonly practice?: boolean;
  readonly wide?: boolean;
  /** For screen readers alone: the content begins with what is its title to the eye. */
  readonly isTitleHidden?: boolean;
  readonly children: ComponentChildren;
}) {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    document.title = props.practice ? practicePageTitleText(props.title) : pageTitleText(props.title);
  }, [props.title, props.practice]);
  useEffect(() => {
    if (!isFirstScreen) heading.current?.focus({ preventScroll: true });
    isFirstScreen = false;
  }, []);
  return (
    <article class={`screen${props.wide ? " wide" : ""}${props.practice ? " practice" : ""}`}>
      <header class="screen-head">
        {props.back && (
          <a class="back" href={props.back.href}>
            <span aria-hidden="true">←</span> {props.back.name}
          </a>
        )}
        <h1 ref={heading} tabIndex={-1} class={props.isTitleHidden ? "hidden" : undefined}>
          {props.title}
          {props.practice && <PracticeTag />}
        </h1>
      </header>
      {props.children}
    </article>
  );
}
