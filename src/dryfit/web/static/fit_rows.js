// The verdict and the rows of the fit sheet. They change with every move of a slider: the component draws them by
// itself from one message, so that the rest of the page is left alone.
const plain = (value) => JSON.parse(JSON.stringify(value));

export default {
  template: `
    <div class="contents">
      <div class="verdict">
        <h2 class="heading"><span class="state"><span v-html="verdict.mark"></span><span class="unseen">{{ verdict.state }}</span></span><span>{{ verdict.words }}</span></h2>
        <p v-if="verdict.what_if" class="sentence"><span>{{ verdict.what_if }}</span></p>
      </div>
      <p v-if="!rows.length">No characteristic is stated: add [[characteristic]] rows with limits on the settings sheet.</p>
      <div v-else class="scroll">
        <table class="figures rows">
          <thead><tr><th v-for="head in heads" :key="head" scope="col">{{ head }}</th></tr></thead>
          <tbody>
            <template v-for="row in rows" :key="row.id">
              <tr :class="{ chosen: row.id === opened }">
                <td class="state-cell"><span class="state"><span v-html="row.mark"></span><span>{{ row.state }}</span></span></td>
                <td class="id"><button type="button" class="choose" :aria-expanded="String(row.id === opened)" @click="$emit('chosen', row.id)">{{ row.id }}</button></td>
                <td class="picture" v-html="row.picture"></td>
                <td class="number">
                  <span class="point"><span class="before" :style="width(0)">{{ row.predicted[0] }}</span><span class="after" :style="width(1)">{{ row.predicted[1] }}</span></span>
                  <span class="of-limits">{{ row.limits }}</span>
                </td>
                <td class="number"><span class="point"><span class="before" :style="width(2)">{{ row.outside[0] }}</span><span class="after" :style="width(3)">{{ row.outside[1] }}</span></span></td>
                <td class="causes"><span v-for="cause in row.causes" :key="cause">{{ cause }}</span></td>
              </tr>
              <tr class="why chosen" v-if="row.id === opened"><td :colspan="heads.length"><slot name="why"></slot></td></tr>
            </template>
          </tbody>
        </table>
      </div>
    </div>`,
  props: { heads: Array, widths: Array, given: Object, open: String },
  emits: ["chosen"],
  data() {
    return { ...plain(this.given), opened: this.open };
  },
  watch: {
    given(now) { Object.assign(this, plain(now)); },
    open(now) { this.opened = now; },
  },
  methods: {
    width(place) { return { minWidth: `${this.widths[place]}ch` }; },
    // verdict, rows: as fit_rows.py describes them; rows that say the same as before are left out
    follow(verdict, rows) {
      const changed = new Map(rows.map((row) => [row.id, row]));
      this.verdict = verdict;
      this.rows = this.rows.map((row) => changed.get(row.id) ?? row);
    },
  },
};
