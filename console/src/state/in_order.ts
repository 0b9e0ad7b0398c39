// SPDX-License-Identifier: Apache-2.0
// Answers in the order of their questions.

/** An answer that comes after one that was asked for later is old: it is dropped. */
export class InOrder {
  private asked = 0;
  private taken = 0;

  async take<T>(answer: Promise<T>, use: (answer: T) => void): Promise<void> {
    const mine = ++this.asked;
    const said = await answer;
    if (mine < this.taken) return;
    this.taken = mine;
    use(said);
  }
}
