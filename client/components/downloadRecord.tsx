import { Fragment } from "preact";
import * as text from "#text/downloadRecord.ts";
import type { ExportTable } from "../../server/domain/training/exportColumns.ts";
import { LinkedText } from "./linkedText.tsx";

const tables = Object.keys(text.tableTexts) as readonly ExportTable[];
const formats = ["csv", "jsonl"] as const;

/** The training record of a yard as files. Plain links: the browser saves what comes, however long it takes. */
export function DownloadRecord({ yard }: { readonly yard: string }) {
  const path = `/api/v1/yards/${encodeURIComponent(yard)}/training/export`;
  return (
    <details>
      <summary>{text.summary}</summary>
      <p>{text.introText}</p>
      <p class="actions">
        <a class="button" href={`${path}/archive`} download="training-record.zip">
          {text.archiveText}
        </a>
      </p>
      <p class="hint">{text.archiveHint}</p>
      <ul class="page-links">
        {tables.map((table) => (
          <li key={table}>
            {text.tableTexts[table]}:
            {formats.map((format) => (
              <Fragment key={format}>
                {" "}
                <a href={`${path}?table=${table}&format=${format}`} download={`${table}.${format}`}>
                  {text.formatTexts[format]}
                  <span class="hidden"> {text.tableTexts[table]}</span>
                </a>
              </Fragment>
            ))}
          </li>
        ))}
        <li>
          <a href={`${path}/dictionary`} download="dictionary.json">
            {text.dictionaryText}
          </a>
        </li>
      </ul>
      <p class="hint">
        <LinkedText text={text.keyText} hrefs={["/account"]} />
      </p>
    </details>
  );
}
