// Words of strangers in a report: whatever stands in names, notes and log, the page has no tag and no attribute that
// plain words would not have given it, and reaches for nothing outside itself.
#include "src/files/csv.hpp"
#include "src/files/json_text.hpp"
#include "src/report/case_report.hpp"
#include "tests/fuzz/fuzz.hpp"

#include <cctype>
#include <cmath>
#include <functional>
#include <set>

using namespace idlehark;
using fuzz::must;

namespace {

double some_number(fuzz::Bytes& in) {
    switch (const auto b = in.byte(); b) {
        case 0:
            return std::nan("");
        case 255:
            return 1e300;
        default:
            return (static_cast<double>(b) - 100.0) * 3.7;
    }
}

/// `word` turns the input's texts into those of the report.
CaseReport report_from(fuzz::Bytes in, const std::function<std::string(std::string)>& word) {
    const auto text = [&] { return word(in.text()); };
    CaseReport r;
    r.car = text(), r.made_at = text(), r.program = text(), r.engine.name = text();
    if (in.byte() % 2 == 1) {
        r.map.emplace();
        r.map->name = text();
        for (int n = in.byte() % 4; n > 0; --n)
            r.map->spots.push_back({text(), text(), SpotKind::hose, some_number(in), some_number(in), {}});
        for (auto& s : r.map->spots) {  // as the reader of maps bounds them
            s.x_mm = std::isfinite(s.x_mm) ? std::fmod(s.x_mm, 1e4) : 0.0;
            s.y_mm = std::isfinite(s.y_mm) ? std::fmod(s.y_mm, 1e4) : 0.0;
        }
    }
    for (int n = in.byte() % 3; n > 0; --n)
        r.log.push_back({text(), text(), text(), text(), static_cast<ReportCheck::State>(in.byte() % 3)});
    for (int n = in.byte() % 3; n > 0; --n) {
        ReportVisit v;
        v.date = text(), v.title = text(), v.warmth = text(), v.device = text(), v.gain = text(), v.note = text();
        v.recordings = {text()}, v.remarks = {text()}, v.failed = {text()};
        v.idle_rpm = some_number(in);
        if (in.byte() % 2 == 1) {
            VerdictView view;
            view.recording = text(), view.engine = text();
            view.length_s = some_number(in), view.idle_rpm = some_number(in), view.matters_rpm = 15.0;
            for (int k = in.byte() % 3; k > 0; --k)
                view.spots.push_back({text(), text(), in.byte() % 4, some_number(in), some_number(in), some_number(in),
                                      some_number(in), some_number(in), static_cast<SprayVerdict>(in.byte() % 4)});
            view.cautions = {text()}, view.notes = {text()};
            view.bursts = {{some_number(in), text()}};
            view.speed = {{some_number(in), some_number(in)}, {some_number(in), some_number(in)}};
            v.sprays.push_back(std::move(view));
        }
        v.injectors.push_back({.cylinder = in.byte(), .verdict = text(), .reasons = text()});
        v.firings.push_back({.name = text(), .at_tail_pipe = {}, .verdict = text()});
        v.hiss.push_back({.spot = text(), .verdict = text()});
        r.visits.push_back(std::move(v));
    }
    if (in.byte() % 2 == 1) {
        r.compare.emplace();
        r.compare->engine = text(), r.compare->before = text(), r.compare->after = text();
        r.compare->rows.push_back({text(), text(), text(), some_number(in), some_number(in), {}});
        r.compare->cautions = {text()}, r.compare->notes = {text()};
    }
    r.why_no_compare = text();
    r.notes = {text(), text()};
    return r;
}

/// Every tag with every attribute's name ("td.class"); checks what attributes may say.
std::set<std::string> skeleton(const std::string& html) {
    std::set<std::string> found;
    const auto name_at = [&](std::size_t& at) {
        const auto from = at;
        while (at < html.size() && (std::isalnum(static_cast<unsigned char>(html[at])) != 0 || html[at] == '-' ||
                                    html[at] == ':' || html[at] == '!' || html[at] == '/' || html[at] == '?'))
            ++at;
        return html.substr(from, at - from);
    };
    for (std::size_t at = html.find('<'); at != std::string::npos; at = html.find('<', at)) {
        ++at;
        const auto tag = name_at(at);
        found.insert(tag);
        while (at < html.size() && html[at] != '>') {
            must(html[at] != '<', "no tag begins inside a tag");
            if (std::isalpha(static_cast<unsigned char>(html[at])) == 0) {
                ++at;
                continue;
            }
            const auto attribute = name_at(at);
            found.insert(tag + "." + attribute);
            if (html.compare(at, 2, "=\"") != 0) continue;
            const auto end = html.find('"', at + 2);
            must(end != std::string::npos, "a value ends");
            const auto value = html.substr(at + 2, end - at - 2);
            if (attribute.ends_with("href") || attribute.ends_with("src"))
                must(value.starts_with("#"), "nothing is fetched");
            if (const auto url = value.find("url("); url != std::string::npos)
                must(value.substr(url + 4).starts_with("#"), "no style fetches anything");
            at = end + 1;
        }
        must(at < html.size(), "a tag ends");
        if (tag == "style") at = html.find("</style", at);
        if (at == std::string::npos) break;
    }
    return found;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static std::set<std::string> usual;
    const fuzz::Bytes in{data, size};
    const auto plain = report_from(in, [](const std::string& t) { return t.empty() ? t : std::string{"plain"}; });
    usual.merge(skeleton(report_html(plain)));
    const auto report = report_from(in, [](std::string t) { return t; });
    for (const auto& part : skeleton(report_html(report))) must(usual.contains(part), part.c_str());
    must(!Json::parse(report_json(report), nullptr, false).is_discarded(), "the report for programs can be parsed");
    for (const auto& row : split_csv(report_csv(report)).rows)
        must(row.fields.size() == 9, "each row has nine columns");
    return 0;
}
