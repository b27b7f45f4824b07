import { useState } from "preact/hooks";
import { strings } from "../../strings.ts";
import { BackButton, Dock, Field, Heading, NextButton, Notice } from "../parts.tsx";
import { go } from "../route.ts";
import { record, sentenceFor } from "../state.ts";

const FIELDS = [
  ["title", strings.detailTitle, 300],
  ["maker", strings.detailMaker, 300],
  ["inscriptions", strings.detailInscriptions, 4000],
  ["description", strings.detailDescription, 4000],
] as const;
const LONG_TEXT = 1000;

/** Facts that can be known later than the tag. */
export function Details({ loss, tag }: { loss: string; tag: string }) {
  const [values, setValues] = useState<Record<string, string>>({});
  const [failure, setFailure] = useState<string | null>(null);

  const save = async () => {
    const given = Object.entries(values).flatMap(([name, value]) =>
      value.trim() === "" ? [] : [[name, value.trim()]],
    );
    if (given.length === 0) {
      setFailure(strings.detailsEmpty);
      return;
    }
    try {
      await record([{ type: "item_described", tag, ...Object.fromEntries(given) }]);
      go({ at: "piece", loss, tag });
    } catch (error) {
      setFailure(sentenceFor(error));
    }
  };

  return (
    <div class="stack">
      <Heading title={strings.detailsHeading} lead={strings.detailsLead} />
      <section class="panel">
        {FIELDS.map(([name, label, longest]) => (
          <Field
            key={name}
            id={name}
            label={label}
            value={values[name] ?? ""}
            onInput={(value) => setValues({ ...values, [name]: value.slice(0, longest) })}
            {...(longest > LONG_TEXT ? { lines: 3 } : {})}
          />
        ))}
      </section>
      {failure !== null && <Notice kind="error" title={failure} />}
      <Dock>
        <BackButton to={{ at: "piece", loss, tag }} />
        <NextButton label={strings.save} onPress={() => void save()} />
      </Dock>
    </div>
  );
}
