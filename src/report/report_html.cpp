#include "src/analysis/balance_check.hpp"
#include "src/report/case_report.hpp"
#include "src/report/compare_picture.hpp"
#include "src/report/page.hpp"
#include "src/report/report_map.hpp"
#include "src/report/verdict_picture.hpp"
#include "src/visit/caution_gate.hpp"

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr const char* kStyle = R"(
@page { margin: 14mm 13mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 190mm; padding: 4mm; color: #1c242e; background: #fff;
  font: 10.5pt/1.42 "DejaVu Sans", "Liberation Sans", Arial, sans-serif; }
h1 { font-size: 20pt; margin: 0 0 1mm; } h2 { font-size: 14pt; margin: 8mm 0 2mm; border-bottom: .4mm solid #1c242e; }
h3 { font-size: 11.5pt; margin: 5mm 0 1.5mm; } h1, h2, h3 { break-after: avoid; line-height: 1.25; }
p, ul, ol { margin: 0 0 2.5mm; } li { margin-bottom: 1mm; overflow-wrap: anywhere; } .faint { color: #5a626a; }
svg { width: 100%; height: auto; max-height: 238mm; break-inside: avoid; display: block; margin: 2mm 0 3mm; }
figure { margin: 2mm 0 3mm; break-inside: avoid; } figcaption { font-size: 9pt; overflow-wrap: anywhere; }
img { max-width: 100%; max-height: 110mm; display: block; margin-bottom: 1mm; }
table { border-collapse: collapse; width: 100%; font-size: 9pt; margin: 1mm 0 3mm; }
th, td { text-align: left; vertical-align: top; padding: .9mm 2mm .9mm 0; border-bottom: .2mm solid #cfcdc8;
  overflow-wrap: anywhere; }
th { border-bottom-color: #1c242e; } thead { display: table-header-group; } tr { break-inside: avoid; }
td.n, th.n { text-align: right; white-space: nowrap; padding-right: 3mm; } td.v { font-weight: bold; }
.box { border: .5mm solid #9a1f1a; padding: 2.5mm 4mm 1mm; margin: 4mm 0; break-inside: avoid; }
.short { background: #f3f1ea; padding: 2.5mm 4mm .5mm; margin: 4mm 0; break-inside: avoid; }
@media print { body { max-width: none; padding: 0; } * { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
)";

/// The page as it grows. Text goes through `html_text` here and nowhere else, so that none gets in without it.
class Page {
   public:
    void raw(std::string_view html) { html_ += html; }
    void tag(std::string_view name, std::string_view text, std::string_view attributes = {}) {
        html_ += fmt::format("<{}{}>{}</{}>\n", name, attributes, html_text(text), name);
    }
    void list(std::string_view kind, const std::vector<std::string>& lines) {
        if (lines.empty()) return;
        html_ += fmt::format("<{}>\n", kind);
        for (const auto& l : lines) tag("li", l);
        html_ += fmt::format("</{}>\n", kind);
    }
    struct Column {
        const char* title;
        char look = 't';  ///< t text, n number, v verdict
    };
    void table(const std::vector<Column>& columns, const std::vector<std::vector<std::string>>& rows) {
        const auto look = [](char l) { return l == 'n' ? " class=\"n\"" : l == 'v' ? " class=\"v\"" : ""; };
        html_ += "<table><thead><tr>";
        for (const auto& c : columns) tag("th", c.title, look(c.look));
        html_ += "</tr></thead><tbody>\n";
        for (const auto& row : rows) {
            html_ += "<tr>";
            for (std::size_t i = 0; i < row.size(); ++i) tag("td", row[i], look(columns[i].look));
            html_ += "</tr>\n";
        }
        html_ += "</tbody></table>\n";
    }
    [[nodiscard]] std::string take() { return std::move(html_); }

   private:
    std::string html_;
};

std::string number(double x, int decimals, bool sign = false) {
    if (!std::isfinite(x)) return "";
    return sign ? fmt::format("{:+.{}f}", x, decimals) : fmt::format("{:.{}f}", x, decimals);
}
std::string range(double low, double high, int decimals, bool sign = false) {
    return std::isfinite(low) && std::isfinite(high)
               ? number(low, decimals, sign) + " to " + number(high, decimals, sign)
               : std::string{};
}

std::string chance(double p) {
    if (!std::isfinite(p)) return "";
    return p < 0.001 ? "< 0.001" : fmt::format("{:.3f}", p);
}

const char* word(Injection i) {
    return i == Injection::simultaneous ? "simultaneous" : i == Injection::grouped ? "grouped" : "sequential";
}
const char* word(ReportCheck::State s) {
    return s == ReportCheck::State::ok ? "ok" : s == ReportCheck::State::faulty ? "FAULTY" : "not done";
}

void put_head(Page& page, const CaseReport& r) {
    page.tag("h1", "Idle report: " + r.car);
    page.tag("p", fmt::format("Made {} by {}.", r.made_at, r.program), " class=\"faint\"");
    const auto& e = r.engine;
    std::string order;
    for (const int c : e.firing_order) order += (order.empty() ? "" : "-") + std::to_string(c);
    const auto middle = 0.5 * (e.idle_low_rpm + e.idle_high_rpm);
    page.tag("p", fmt::format("Engine: {}{} cylinders, {}-stroke{}, idle {:.0f} to {:.0f} rpm by the handbook "
                              "({:.1f} firings a second at {:.0f} rpm), injection {}, idle {}.",
                              e.name.empty() ? "" : e.name + ", ", e.cylinders, e.strokes,
                              order.empty() ? "" : ", firing order " + order, e.idle_low_rpm, e.idle_high_rpm,
                              firing_frequency(e, Rpm{middle}).value, middle, word(e.injection),
                              e.idle_control == IdleControl::regulated ? "regulated by a valve" : "not regulated"));
    page.tag("p",
             "The job: find which joint of the intake leaks, whether every injector clicks, and whether every cylinder "
             "works, from the sound of the idling engine.");
}

void put_short(Page& page, const CaseReport& r, const std::vector<NextStep>& next) {
    page.raw("<div class=\"short\">\n");
    page.tag("h3", "In short", " style=\"margin-top:0\"");
    std::vector<std::string> lines;
    for (auto v = r.visits.rbegin(); v != r.visits.rend() && lines.empty(); ++v)
        for (const auto& s : v->sprays)
            lines.push_back(fmt::format("Last spray test, {}: {}.", v->date, headline(s, true)));
    if (r.compare) lines.push_back("Before and after: " + headline(*r.compare));
    std::size_t faulty = 0;
    for (const auto& c : r.log) faulty += c.state == ReportCheck::State::faulty ? 1 : 0;
    if (faulty > 0) lines.push_back(fmt::format("The log holds {} faulty check{}.", faulty, faulty == 1 ? "" : "s"));
    lines.push_back(fmt::format("Next: {}.", next.front().what));
    page.list("ul", lines);
    page.raw("</div>\n");
}

void put_cautions(Page& page) {
    page.raw("<div class=\"box\">\n");
    page.tag("h3", "Before anyone sprays again", " style=\"margin-top:0\"");
    page.tag("p", caution_precedence());
    std::vector<std::string> lines;
    lines.emplace_back("Ways without flammable spray come first:");
    for (const auto& way : spray_alternatives()) lines.back() += fmt::format(" {}", way);
    for (const auto& p : caution_points()) lines.push_back(fmt::format("{} If not: {}", p.question, p.if_no));
    page.list("ul", lines);
    page.raw("</div>\n");
}

/// What the gate was told, and what the guided test did.
void put_guided(Page& page, const ReportVisit& v) {
    if (!v.answers.empty()) {
        std::size_t yes = 0;
        std::vector<std::string> others;
        for (const auto& a : v.answers) {
            yes += a.answer == "yes" ? 1 : 0;
            if (a.answer != "yes") others.push_back(fmt::format("Answered {}: {}", a.answer, a.question));
        }
        page.tag("p", fmt::format("Points of caution answered yes before spray: {} of {}, the last at {}.", yes,
                                  kCautionPoints, v.answers.back().at));
        page.list("ul", others);
    }
    if (!v.guided || v.guided->bursts.empty()) return;
    page.tag("h3", "The guided test, burst by burst");
    std::vector<std::vector<std::string>> rows;
    for (const auto& b : v.guided->bursts) {
        std::string what = b.sham ? "aimed without spray" : b.by_key ? "marked by hand" : "marked by its hiss";
        if (b.by_key && b.found_onset_s) what += ", its hiss heard";
        if (!b.asked) what += ", not as asked";
        if (b.near_gap) what += ", sound lost near it";
        if (b.undone) what += ", taken back";
        std::string spots;
        for (const auto& s : b.spots) spots += (spots.empty() ? "" : ", ") + s;
        rows.push_back({number(b.found_onset_s.value_or(b.time_s), 1), spots,
                        b.found_duration_s ? number(*b.found_duration_s, 1) : "", what});
    }
    page.table({{"time, s", 'n'}, {"spot"}, {"length, s", 'n'}, {"how"}}, rows);
    if (!v.guided->ended.empty()) page.tag("p", "It ended: " + v.guided->ended);
}

void put_photos(Page& page, const std::vector<ReportPhoto>& photos) {
    for (const auto& p : photos) {
        const auto name = p.title.empty() ? p.file : p.title;
        if (!p.photo) {
            page.tag("p", fmt::format("Photo {}: it cannot be shown.", name), " class=\"faint\"");
            continue;
        }
        page.raw(fmt::format("<figure><img alt=\"{}\" src=\"{}\">", html_text(name), p.photo->data_url()));
        page.tag("figcaption", name);
        page.raw("</figure>\n");
    }
}

void put_visit(Page& page, const ReportVisit& v, std::size_t number_of_visit) {
    page.tag("h2", fmt::format("Visit {}, {}{}{}", number_of_visit, v.date, v.title.empty() ? "" : ": ", v.title));
    std::string about = v.warmth.empty() || v.warmth == "not said" ? "" : fmt::format("Engine {}. ", v.warmth);
    if (std::isfinite(v.idle_rpm)) about += fmt::format("Idle {:.0f} rpm. ", v.idle_rpm);
    if (!v.device.empty()) about += "Recorded with " + v.device + ". ";
    if (!v.gain.empty()) about += "Gain: " + v.gain + ". ";
    if (!v.note.empty()) about += v.note;
    if (!about.empty()) page.tag("p", about);
    page.list("ul", v.recordings);
    for (std::size_t i = 0; i < v.sprays.size(); ++i) {
        const auto& s = v.sprays[i];
        page.tag("h3", (s.guided ? "Guided spray test: " : "Spray test: ") + s.recording);
        page.raw(verdict_svg(s, fmt::format("v{}s{}", number_of_visit, i)));
        std::vector<std::vector<std::string>> rows;
        for (const auto& row : ranked(s.spots))
            rows.push_back({row.spot, row.name, std::to_string(row.bursts), number(row.change_rpm, 1, true),
                            range(row.low_rpm, row.high_rpm, 1, true), row.not_sprayed() ? "" : chance(row.p_value),
                            std::string{idlehark::word(row)}});
        page.table({{"spot"},
                    {"joint"},
                    {"bursts", 'n'},
                    {"change, rpm", 'n'},
                    {"95 % interval", 'n'},
                    {"p", 'n'},
                    {"verdict", 'v'}},
                   rows);
        page.list("ul", s.notes);
    }
    put_guided(page, v);
    if (!v.injectors.empty()) {
        page.tag("h3", "Injectors");
        std::vector<std::vector<std::string>> rows;
        for (const auto& i : v.injectors)
            rows.push_back({std::to_string(i.cylinder), number(i.rate_hz, 2), number(i.expected_hz, 2),
                            number(i.missed_percent, 1), range(i.missed_low, i.missed_high, 1), number(i.jitter_us, 0),
                            number(i.open_close_ms, 2), number(i.level_db, 1, true),
                            i.reasons.empty() ? i.verdict : i.verdict + ": " + i.reasons});
        page.table({{"cylinder"},
                    {"clicks/s", 'n'},
                    {"expected", 'n'},
                    {"missed %", 'n'},
                    {"95 % interval", 'n'},
                    {"jitter µs", 'n'},
                    {"open-close ms", 'n'},
                    {"level dB", 'n'},
                    {"verdict", 'v'}},
                   rows);
    }
    if (!v.firings.empty()) {
        page.tag("h3", "Balance of the cylinders");
        std::vector<std::vector<std::string>> rows;
        for (const auto& f : v.firings)
            rows.push_back({label(f.name, f.at_tail_pipe), number(f.strength, 2),
                            range(f.strength_low, f.strength_high, 2), number(f.misfire_percent, 1),
                            range(f.misfire_low, f.misfire_high, 1), f.verdict});
        page.table({{v.firings_named ? "cylinder" : "firing"},
                    {"strength", 'n'},
                    {"95 % interval", 'n'},
                    {"misfires heard, %", 'n'},
                    {"95 % interval", 'n'},
                    {"verdict", 'v'}},
                   rows);
        if (std::isfinite(v.half_order_share))
            page.tag("p", fmt::format("Half orders: {:.1f} % of the lines' power.", 100.0 * v.half_order_share));
    }
    if (!v.hiss.empty()) {
        page.tag("h3", "Hiss survey");
        std::vector<std::vector<std::string>> rows;
        for (const auto& h : v.hiss)
            rows.push_back({h.spot, number(h.level_db, 1, true), range(h.level_low_db, h.level_high_db, 1, true),
                            number(h.follow_db, 1, true), h.verdict});
        page.table(
            {{"spot"}, {"level dB", 'n'}, {"95 % interval", 'n'}, {"follows the firing dB", 'n'}, {"verdict", 'v'}},
            rows);
    }
    page.list("ul", v.remarks);
    page.list("ul", v.failed);
    put_photos(page, v.photos);
}

void put_compare(Page& page, const CaseReport& r) {
    if (!r.compare && r.why_no_compare.empty()) return;
    page.tag("h2", "Before and after");
    if (!r.compare) {
        page.tag("p", "Not compared: " + r.why_no_compare);
        return;
    }
    page.raw(compare_svg(*r.compare, "ba"));
    std::vector<std::vector<std::string>> rows;
    for (const auto& row : r.compare->rows)
        rows.push_back({row.name.empty() ? row.figure : row.figure + ", " + row.name, figure_text(row.before, row.unit),
                        figure_text(row.after, row.unit), figure_text(row.change.difference, row.unit, true),
                        std::isfinite(row.change.low) ? figure_text(row.change.low, row.unit, true) + " to " +
                                                            figure_text(row.change.high, row.unit, true)
                                                      : "",
                        row.unit, std::string{idlehark::word(row.change.verdict)}});
    page.table({{"figure"},
                {"before", 'n'},
                {"after", 'n'},
                {"difference", 'n'},
                {"95 % interval", 'n'},
                {"unit"},
                {"verdict", 'v'}},
               rows);
}

void put_log(Page& page, const CaseReport& r) {
    page.tag("h2", "Elimination log");
    if (r.log.empty()) {
        page.tag("p", "Nothing is entered. Limits belong here from the car's own manual.");
        return;
    }
    std::vector<std::vector<std::string>> rows;
    for (const auto& c : r.log) rows.push_back({c.name, c.limits, c.reading, word(c.state), c.note});
    page.table({{"check"}, {"limits (own manual)"}, {"reading"}, {"state", 'v'}, {"note"}}, rows);
}

void put_method(Page& page, std::string_view program) {
    page.tag("h2", "How the numbers were made");
    page.raw("<ul>\n");
    page.tag("li",
             "Idle speed: the comb of firing harmonics and half orders is followed through the sound ten times a "
             "second; where the sound does not support a number there is none.");
    page.tag("li",
             "Spray test: one fit over the whole recording; the idle's own unrest is learned from it as coloured "
             "noise; each spot's odds are ranked against sham placements in the same recording. Over all spots "
             "together a tight bay gets any \"leak\" in at most 5 % of sessions. \"None seen\" excludes a change of "
             "the size that matters, smaller leaks may be there; \"undecided\" is a normal result.");
    page.tag("li",
             "Guided spray test: after every burst it is worked out anew which spots leak; the verdict allows for all "
             "these looks. \"None seen\" there: a change of the size that matters has a chance under 0.5 %, in "
             "proportion more on a map of more than 20 spots.");
    page.tag("li",
             "Intervals are 95 % each; p-values of spray tests and comparisons are corrected for all spots or figures "
             "asked.");
    page.tag("li",
             "Before and after: differences allow for the unrest and for what differs between visits with nothing "
             "mended (common practice, no source); \"no proven change\" is not \"unchanged\".");
    page.tag("li",
             "Injectors: clicks counted against what the stated injection scheme asks for at the recording's own "
             "speed. Balance: what is heard of each firing; a cylinder that a wall hides looks weak. Hiss: levels "
             "against the middle of the other spots.");
    page.tag("li", fmt::format("Every figure can be made again from the recordings of the case with {} (`idlehark case "
                               "check`).",
                               program));
    page.raw("</ul>\n");
}

void put_end(Page& page, const CaseReport& r, const std::vector<NextStep>& next) {
    page.tag("h2", "What was not decided");
    const auto open = undecided(r);
    if (open.empty())
        page.tag("p", "Nothing that was tested is undecided.");
    else
        page.list("ul", open);
    page.tag("h2", "What to check next, the likeliest first");
    page.raw("<ol>\n");
    for (const auto& s : next) page.tag("li", s.what + ": " + s.why + ".");
    page.raw("</ol>\n");
    page.tag("p",
             "This order comes from the log and the measurements above; it is no diagnosis. The car's manual, local "
             "rules and codes, and a licensed technician come first.");
    if (!r.notes.empty() || !r.photos.empty()) {
        page.tag("h2", "Notes");
        page.list("ul", r.notes);
        put_photos(page, r.photos);
    }
    put_method(page, r.program);
}

}  // namespace

std::string report_html(const CaseReport& r) {
    const auto next = next_steps(r);
    Page page;
    page.raw(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src "
        "data:\">\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    page.tag("title", "Idle report: " + r.car);
    page.raw(fmt::format("<style>{}</style>\n</head>\n<body>\n", kStyle));
    put_head(page, r);
    put_short(page, r, next);
    put_cautions(page);
    if (r.map && !r.map->spots.empty()) {
        page.tag("h2", "The spots");
        page.raw(map_svg(r, "map"));
    }
    for (std::size_t i = 0; i < r.visits.size(); ++i) put_visit(page, r.visits[i], i + 1);
    put_compare(page, r);
    put_log(page, r);
    put_end(page, r, next);
    page.raw("</body>\n</html>\n");
    return page.take();
}

}  // namespace idlehark
