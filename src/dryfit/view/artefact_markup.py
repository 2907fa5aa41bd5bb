"""Typst markup of the measuring sheet; every text comes in as data."""

MARKUP = """
#let d = json(bytes(sys.inputs.data))
#let ink = rgb("#1c1f22")
#let soft = rgb("#5d6266")
#let hair = 0.15mm + rgb("#a9adaf")
#set document(title: d.title)
#set text(font: "Libertinus Serif", size: 9.5pt, fill: ink, lang: "en", number-width: "tabular")
#set par(leading: 0.55em, spacing: 0.8em)
#set page(
  paper: "a4",
  margin: (left: 20mm, right: 10mm, top: 12mm, bottom: 26mm),
  footer: block(width: 100%, stroke: 0.35mm + ink, inset: 0pt)[
    #set text(size: 8pt)
    #let cell(head, body) = box(inset: (x: 1.5mm, y: 1mm))[#text(size: 6pt, fill: soft, head)\\ #body]
    #grid(
      columns: (1fr, 40mm, 26mm, 40mm, 18mm),
      stroke: 0.18mm + ink,
      cell("project", d.project), cell("machine", d.machine), cell("units", "mm"),
      cell("mesh, program", [#d.hash, #d.program]),
      cell("page", context [#counter(page).display() of #counter(page).final().first()]),
    )
  ],
)
#let figure-of(f, width) = block(breakable: false)[
  #image(bytes(sys.inputs.at(f.key)), format: "svg", width: width)
  #text(size: 8pt, fill: soft, f.caption)
]
#text(size: 15pt, weight: "bold", d.title)
#if d.invented != "" [#linebreak() #text(weight: "bold", d.invented)]

#for w in d.words [#w \\ ]

#let fill-in(label, width) = box[#label #box(width: width, stroke: (bottom: 0.2mm + ink))[#h(1pt)]]
#v(1mm)
#fill-in("date", 32mm) #h(3mm) #fill-in("read by", 42mm) #h(3mm) #fill-in("temperature before, C", 18mm) #h(3mm)
#fill-in("after", 18mm)

#let first = d.figures.first()
#figure-of(first, 180mm)

=== Before
#list(..d.before)

=== Cautions
#list(..d.cautions)

#pagebreak()
#for f in d.figures.slice(1).filter(f => f.wide) [#figure-of(f, 180mm)]
#let halves = d.figures.filter(f => not f.wide)
#grid(columns: (88mm, 88mm), column-gutter: 4mm, row-gutter: 4mm, ..halves.map(f => figure-of(f, 88mm)))

=== How to hold
#for h in d.holding [
  #block(breakable: false)[#strong(h.id) #text(fill: soft, size: 8pt, h.facts) \\ #h.words]
]
#if d.has_square [#image(bytes(sys.inputs.at("signs")), format: "svg", width: 86mm)]
=== Order
#d.order

#table(
  columns: (9mm, 1fr, 27mm, 20mm, ..d.columns.map(c => if d.columns.len() > 4 { 17mm } else { 21mm })),
  stroke: (x, y) => (bottom: if y == 0 { 0.25mm + ink } else { hair }, left: if x > 3 { hair } else { none }),
  inset: (x: 1.2mm, y: 1.7mm),
  align: (x, y) => if x == 0 or x == 3 { right + horizon } else { left + horizon },
  table.header(
    ..("no.", "what", "instrument", "nominal", ..d.columns).map(t => text(size: 8pt, fill: soft, t))
  ),
  ..d.rows.map(r => (
    strong(r.number),
    text(size: 8.5pt)[#strong(r.kind): #r.words],
    text(size: 8.5pt, r.instrument),
    r.nominal,
    ..range(d.columns.len()).map(i => if i < r.repeats { [] } else { align(center, text(fill: soft)[not read]) }),
  )).flatten(),
)

#block(width: 100%, height: 22mm, stroke: hair, inset: 1.5mm)[#text(size: 8pt, fill: soft)[remarks]]
"""
