// Words that change often: told by a message, without the rest of the page being drawn anew.
export default {
  template: `<span>{{ words }}</span>`,
  props: { given: String },
  data() {
    return { words: this.given };
  },
  watch: { given(now) { this.words = now; } },
  methods: {
    say(words) { this.words = words; },
  },
};
