/** A text with links in it: each part in square brackets is a link to the next of `hrefs`. */
export const LinkedText = (props: { readonly text: string; readonly hrefs: readonly string[] }) => (
  <>
    {props.text
      .split(/[[\]]/)
      .map((part, index) => (index % 2 === 0 ? part : <a href={props.hrefs[(index - 1) / 2] ?? ""}>{part}</a>))}
  </>
);
