// SPDX-License-Identifier: GPL-3.0-or-later
//
// The page's style sheet: plain and calm, light and dark, phone to A4. Severity is told by words
// and by the kind of edge, and only then by colour, so that a grey print says the same.
#include "base/utf8.h"
#include "report/markup.h"

#include <stdint.h>

// In pieces: a C string need not be longer than 4095 characters.
static const char screen[] =
    ":root{--paper:#fff;--ink:#1b1f23;--soft:#4a5058;--edge:#c9ced3;--shade:#f3f5f6;"
    "--fail:#a3211c;--doubt:#6a2c91;--warn:#7a5200;--good:#1d6336;--none:#4a5058}\n"
    "@media screen and (prefers-color-scheme:dark){:root{--paper:#14171a;--ink:#e6e9ec;"
    "--soft:#aeb4bb;--edge:#3c434a;--shade:#1e2226;--fail:#ff938a;--doubt:#d3a3f0;--warn:#e0b04a;"
    "--good:#7fcf9a;--none:#aeb4bb}}\n"
    "*{box-sizing:border-box}\n"
    "html{color-scheme:light dark;background:var(--paper)}\n"
    "body{margin:0 auto;max-width:62rem;padding:0 1rem 3rem;color:var(--ink);"
    "background:var(--paper);font:400 1rem/1.45 system-ui,'Liberation Sans','DejaVu Sans',Arial,"
    "sans-serif;overflow-wrap:anywhere;font-variant-numeric:tabular-nums}\n"
    "h1{font-size:1.7rem;line-height:1.2;margin:1.2rem 0 .2rem}\n"
    "h2{font-size:1.3rem;line-height:1.25;margin:2.4rem 0 .6rem;padding-top:.4rem;"
    "border-top:2px solid var(--ink)}\n"
    "h3{font-size:1.08rem;margin:1.6rem 0 .4rem}h4{font-size:1rem;margin:1.2rem 0 .3rem}\n"
    "p{margin:.5rem 0;unicode-bidi:isolate}ul{margin:.4rem 0;padding-left:1.2rem}"
    "li,td,th,dd,dt,figcaption,h1,h2,h3,h4{unicode-bidi:isolate}\n"
    ".subtitle{color:var(--soft);margin:0 0 1rem}\n"
    ".simulated{position:sticky;top:0;z-index:2;margin:0 -1rem;padding:.35rem 1rem;"
    "background:var(--ink);color:var(--paper);font-weight:700;letter-spacing:.06em}\n"
    ".watermark,.runner{display:none}\n"
    "nav ul{list-style:none;padding:0;columns:16rem}nav a{color:var(--ink)}\n"
    ".facts{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,21rem),1fr));"
    "gap:0 1.5rem;margin:.8rem 0}\n"
    ".facts div{display:grid;grid-template-columns:9rem minmax(0,1fr);gap:.6rem;padding:.22rem 0;"
    "border-bottom:1px solid var(--edge)}\n"
    "dt{color:var(--soft)}dd{margin:0}\n"
    ".verdict{margin:1rem 0;padding:.7rem 1rem;border:3px solid var(--tone);"
    "background:var(--shade)}\n"
    ".verdict .word{font-size:1.5rem;font-weight:700;color:var(--tone);margin:0}\n"
    ".v-pass{--tone:var(--good)}.v-fail{--tone:var(--fail)}.v-undecided{--tone:var(--doubt)}"
    ".v-attention{--tone:var(--warn)}.v-not_tested{--tone:var(--none)}\n"
    ".verdict.v-fail{border-width:6px}.verdict.v-undecided{border-style:double;border-width:6px}"
    ".verdict.v-not_tested{border-style:dashed}\n"
    ".badge{display:inline-block;padding:0 .45rem;border:2px solid var(--tone);color:var(--tone);"
    "font-weight:700;white-space:nowrap}\n"
    ".v-fail>.head .badge{background:var(--tone);color:var(--paper)}"
    ".v-undecided>.head .badge{border-style:double;border-width:4px}"
    ".v-not_tested>.head .badge{border-style:dashed}\n";

static const char parts[] =
    ".finding{margin:.8rem 0;padding:.5rem .8rem;border:1px solid var(--edge);"
    "border-left:6px solid var(--tone)}\n"
    ".finding.v-undecided{border-left-style:double}.finding.v-not_tested{border-left-style:dashed}"
    "\n"
    ".finding p,.finding ul{margin:.25rem 0}.finding .says{font-weight:600}"
    ".finding .code{color:var(--soft);font-size:.85em}\n"
    ".cautions{list-style:none;padding:.6rem .9rem;margin:.8rem 0;border:2px solid var(--ink)}"
    ".cautions li{padding:.2rem 0}.cautions b{text-transform:uppercase;letter-spacing:.04em;"
    "margin-right:.4em}\n"
    ".scroll{overflow-x:auto;margin:.8rem 0}\n"
    "table{border-collapse:collapse;width:100%;font-size:.88rem;line-height:1.3}\n"
    ".wide{min-width:44rem}caption{text-align:left;font-weight:600;padding:.2rem 0}\n"
    "th,td{text-align:left;vertical-align:top;padding:.2rem .45rem;"
    "border-bottom:1px solid "
    "var(--edge);overflow-wrap:normal}td.w,th.w{overflow-wrap:anywhere;min-width:8rem}\n"
    "thead th{border-bottom:2px solid var(--ink);vertical-align:bottom;"
    "overflow-wrap:normal}\n"
    "tbody th{font-weight:600;border-left:5px solid "
    "transparent}.n{text-align:right;white-space:nowrap}.unit{font-weight:400;"
    "color:var(--soft);white-space:nowrap}\n"
    "tr[class] th{border-left-color:var(--tone)}tr.v-undecided th{border-left-style:double}"
    "tr.v-not_tested th{border-left-style:dashed}\n"
    "figure{margin:1.2rem 0}figcaption{font-weight:600;margin-bottom:.3rem}"
    ".plot{overflow-x:auto}.chart{display:block;width:100%;min-width:38rem;height:auto}\n"
    ".pictures{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,22rem),1fr));"
    "gap:1.2rem 1.5rem;margin:1rem 0;align-items:start}.picture{margin:0}.picture "
    "img{display:block;"
    "width:auto;height:auto;max-width:100%;max-height:80mm}.picture figcaption{font-weight:400;"
    "margin:.3rem 0 0}.picture p{margin:0}.picture .source{color:var(--soft);font-size:.82rem}\n"
    ".evidence dt{color:var(--ink);margin-top:.3rem}.evidence dd{font-family:'DejaVu Sans Mono',"
    "'Liberation Mono',monospace;font-size:.82rem;color:var(--soft)}\n"
    ".signatures{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,15rem),1fr));"
    "gap:1rem;margin:1rem 0}.signatures div{border:1px solid var(--soft);padding:.4rem .6rem;"
    "min-height:6.2rem;display:flex;flex-direction:column;justify-content:space-between}"
    ".signatures p{margin:0}.signatures .hand{border-top:1px solid var(--soft);"
    "color:var(--soft);font-size:.85rem;padding-top:.15rem}\n"
    ".signatures .code{min-width:0;align-items:center;justify-content:flex-start}"
    ".qr{display:block;width:24.6mm;height:24.6mm;background:#fff}.qr .r{fill:#000;"
    "shape-rendering:crispEdges}.signatures .digest{font:700 1.15rem/1.25 'DejaVu Sans Mono',"
    "'Liberation Mono',monospace;width:9ch;text-align:center}.signatures .code .hand{border:0}\n"
    ".refused{border:2px dashed var(--ink);padding:.5rem .8rem;font-weight:700}\n"
    ".chart .t{font-family:system-ui,'Liberation Sans','DejaVu Sans',Arial,sans-serif;"
    "fill:var(--i)}.chart .l{fill:none;stroke:var(--i);stroke-linejoin:round}"
    ".chart .d,.chart .r{fill:var(--i);stroke:none}.chart .d.mark{fill:none;stroke:var(--i)}"
    ".chart .t.limit,.chart .t.mark{paint-order:stroke;stroke:var(--paper);stroke-width:.9px;"
    "stroke-linejoin:round}\n";

static const char print[] =
    "@media print{body{max-width:none;padding:0;font-size:9.5pt}"
    "h1{font-size:17pt;margin-top:0}h2{font-size:13pt;margin:7mm 0 2mm}h3{font-size:11pt}"
    ".scroll,.plot{overflow:visible}.chart,.wide{min-width:0}table{font-size:8pt}"
    ".evidence dd{font-size:7.5pt}nav a{text-decoration:none}"
    "thead{display:table-header-group}tr,.finding,figure,.verdict,.signatures,.facts,.evidence "
    "div,.cautions li,"
    ".facts "
    "div,.refused{break-inside:avoid}h1,h2,h3,h4,h2+p,h2+p+dl,caption,figcaption{break-after:avoid}"
    ".page{break-before:page}p{orphans:3;widows:3}"
    ".facts{grid-template-columns:1fr 1fr;margin:2mm 0}"
    ".pictures{grid-template-columns:1fr 1fr;gap:4mm;margin:3mm 0}"
    ".picture .source{font-size:7.5pt}"
    ".facts div{grid-template-columns:30mm minmax(0,1fr);padding:.6mm 0}"
    ".verdict{margin:3mm 0;padding:2mm 3mm;print-color-adjust:exact}"
    ".signatures{grid-template-columns:repeat(3,1fr);gap:4mm;margin:3mm 0}"
    ".signatures div{min-height:24mm}.seal{grid-template-columns:30mm repeat(3,1fr)}"
    ".signatures .code{border:0;padding:0}.signatures .digest{font-size:12pt}"
    ".simulated{position:static;margin:0 0 3mm;background:none;color:var(--ink);"
    "border:2px solid var(--ink);padding:1mm 2mm}"
    ".watermark{display:block;position:fixed;left:0;right:0;top:42%;text-align:center;"
    "font-size:64pt;font-weight:700;letter-spacing:.08em;color:var(--ink);opacity:.09;"
    "transform:rotate(-32deg);z-index:3}}\n";

// A CSS string: all but plain letters, digits and blanks as code points.
static void put_string(struct lw_text *out, const char *text)
{
    lw_text_add(out, "\"");
    for (size_t i = 0, count = strlen(text); i < count;) {
        uint32_t code = 0;
        size_t taken = lw_utf8_next(text + i, count - i, &code);
        if (taken == 1 && (isalnum((unsigned char)text[i]) || text[i] == ' ')) {
            lw_text_put(out, text + i, 1);
        } else if (taken > 0) {
            lw_text_add(out, "\\%06x ", (unsigned)code);
        }
        i += taken == 0 ? 1 : taken;
    }
    lw_text_add(out, "\"");
}

static void put_inks(struct lw_text *out, bool dark)
{
    for (int i = 0; i < LW_INKS; i++) {
        const struct lw_ink_style *ink = &lw_inks[i];
        lw_text_add(out, ".%s{--i:#%06x}", ink->word, dark ? ink->dark : ink->light);
    }
}

static void put_lines(struct lw_text *out)
{
    for (int i = 0; i < LW_INKS; i++) {
        const struct lw_ink_style *ink = &lw_inks[i];
        lw_text_add(out, ".chart .%s{stroke-width:%gpx", ink->word, ink->line_mm);
        if (ink->dash_mm > 0) {
            lw_text_add(out, ";stroke-dasharray:%g %g", ink->dash_mm, ink->gap_mm);
        }
        lw_text_add(out, "}");
    }
}

void lw_style(struct lw_text *out, const char *running_title, const char *page_mark)
{
    put_lines(out);
    put_inks(out, false);
    lw_text_add(out, "\n@media screen and (prefers-color-scheme:dark){");
    put_inks(out, true);
    lw_text_add(out, "}\n%s%s%s@page{size:A4;margin:18mm 14mm 16mm;", screen, parts, print);
    if (page_mark != NULL) {
        lw_text_add(out, "@top-center{font:700 10pt sans-serif;content:");
        put_string(out, page_mark);
        lw_text_add(out, "}");
    }
    lw_text_add(out, "@bottom-left{font:8pt sans-serif;content:");
    put_string(out, running_title);
    lw_text_add(out, "}@bottom-right{font:8pt sans-serif;content:counter(page) \" / \" "
                     "counter(pages)}}\n");
}
