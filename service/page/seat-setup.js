// A machine with its attachment put on the job, out of those on record.

import { ask, inWords } from "./ask.js";
import { choice } from "./seat-fields.js";
import { offer, open } from "./seat-slip.js";
import { WORDS } from "./seat-words.js";

const { fields: F, titles: T, says: S } = WORDS;
const named = (answer) => answer.told.map((each) => [each.id, each.name]);

export async function setup() {
  const answers = await Promise.all([ask("GET", "/v1/machines"), ask("GET", "/v1/attachments")]);
  const refused = answers.find((answer) => answer === null || !answer.ok);
  if (refused !== undefined) {
    offer(T.setup, inWords(refused), []);
    return;
  }
  const [machines, attachments] = answers.map(named);
  open({
    title: T.setup, path: "/setups", voids: true, told: () => "",
    fields: { machine: choice(F.machine, machines), attachment: choice(F.attachment, attachments) },
    says: S.setup, body: ({ machine, attachment }) => ({ machine, attachment }),
  });
}
