import { useState } from "preact/hooks";
import * as text from "#text/copyableText.ts";

/** A text that must be copied exactly. */
export function CopyableText(props: { readonly label: string; readonly text: string }) {
  const [result, setResult] = useState("");
  const copy = async () => {
    try {
      await navigator.clipboard.writeText(props.text);
      setResult(text.copiedText);
    } catch {
      setResult(text.notAllowedText); // plain HTTP has no clipboard
    }
  };
  return (
    <div class="copyable">
      <pre>{props.text}</pre>
      <button type="button" onClick={() => void copy()}>
        {text.copyLabel}
        <span class="hidden"> {props.label}</span>
      </button>
      <span role="status" class="hint">
        {result}
      </span>
    </div>
  );
}
