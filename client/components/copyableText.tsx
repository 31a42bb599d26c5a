import { useState } from "preact/hooks";

/** A text that must be taken elsewhere letter by letter. */
export function CopyableText(props: { readonly label: string; readonly text: string }) {
  const [said, setSaid] = useState("");
  const copy = async () => {
    try {
      await navigator.clipboard.writeText(props.text);
      setSaid("Copied");
    } catch {
      setSaid("Copying isn't allowed here: mark the text and copy it by hand"); // plain HTTP has no clipboard
    }
  };
  return (
    <div class="copied">
      <pre>{props.text}</pre>
      <button type="button" onClick={() => void copy()}>
        Copy<span class="hidden"> {props.label}</span>
      </button>
      <span role="status" class="hint">
        {said}
      </span>
    </div>
  );
}
