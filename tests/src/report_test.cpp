#include "src/casebook/case_report_of.hpp"
#include "src/report/case_report.hpp"
#include "src/report/page.hpp"
#include "tests/src/pictures.hpp"
#include "tests/src/support.hpp"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <regex>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

using namespace idlehark;
using Catch::Matchers::Contains;
using test::ScratchFolder;

namespace {

const std::string kHostile =
    R"(<script>alert(1)</script>"'><img src=x onerror=alert(2)> & </svg><a href="http://evil.example">)";

SpotRow spot(const char* id, const char* name, double change, double half, SprayVerdict verdict) {
    return {.spot = id,
            .name = name,
            .bursts = 3,
            .change_rpm = change,
            .low_rpm = change - half,
            .high_rpm = change + half,
            .p_value = verdict == SprayVerdict::leak ? 0.001 : 0.7,
            .delay_s = verdict == SprayVerdict::leak ? 0.9 : std::nan(""),
            .verdict = verdict};
}

VerdictView spray(double leak_rpm) {
    VerdictView view;
    view.recording = "bay.flac";
    view.engine = "Marlow 1600";
    view.length_s = 300.0;
    view.idle_rpm = 812.0;
    view.hunting_rpm = 5.0;
    view.smallest_provable_rpm = 8.0;
    view.matters_rpm = 15.0;
    view.spots = {
        spot("3", "brake servo hose", 1.0, 5.0, SprayVerdict::none_seen),
        spot("7", "plenum gasket, rear", leak_rpm, 5.0, leak_rpm > 5.0 ? SprayVerdict::leak : SprayVerdict::none_seen),
        spot("9", "throttle shaft", 9.0, 14.0, SprayVerdict::undecided),
        spot("11", "plenum gasket, front", 8.0, 5.0,
             leak_rpm > 5.0 ? SprayVerdict::overspray : SprayVerdict::none_seen)};
    for (int i = 0; i < 3000; ++i)
        view.speed.push_back({0.1 * i, 812.0 + 4.0 * std::sin(0.12 * i) + (i % 140 < 40 ? 0.05 * i : 0.0) / 10.0});
    for (int i = 0; i < 12; ++i)
        view.bursts.push_back({30.0 + 20.0 * i, view.spots[static_cast<std::size_t>(i % 4)].spot});
    return view;
}

/// A case with everything in it.
CaseReport full() {
    CaseReport r;
    r.car = "Marlow 1600, blue";
    r.made_at = "2024-05-11 10:00";
    r.program = "idlehark 0.1.0";
    r.engine.name = "Marlow 1600";
    r.engine.firing_order = {1, 3, 4, 2};
    r.map = BayMap{.name = "bay", .picture = {}, .spots = {}};
    r.map->spots = {{"3", "brake servo hose", SpotKind::brake_servo, 60, 120, {}},
                    {"7", "plenum gasket, rear", SpotKind::gasket, 310, 120, 3},
                    {"9", "throttle shaft", SpotKind::throttle, 120, 300, {}},
                    {"11", "plenum gasket, front", SpotKind::gasket, 270, 180, 2},
                    {"12", "breather", SpotKind::breather, 420, 60, {}}};
    r.log = {{"fuel pressure", "2.5 to 3 bar", "2.7 bar", "", ReportCheck::State::ok},
             {"throttle position sensor", "0.5 to 0.6 V", "0.9 V", "set by hand before", ReportCheck::State::faulty},
             {"spark plugs' look", "", "", "all light brown", ReportCheck::State::ok},
             {"cam timing", "", "", "", ReportCheck::State::not_done}};
    ReportVisit before;
    before.date = "2024-05-04";
    before.title = "before";
    before.warmth = "warm";
    before.idle_rpm = 812.0;
    before.recordings = {"bay.flac (bay, 300 s)"};
    before.sprays = {spray(22.0)};
    ReportInjector regular;
    regular.cylinder = 1, regular.rate_hz = regular.expected_hz = 6.7, regular.missed_percent = 0.0;
    regular.verdict = "regular";
    ReportInjector silent;
    silent.cylinder = 3, silent.rate_hz = 0.0, silent.expected_hz = 6.7;
    silent.verdict = "silent", silent.reasons = "no regular click is heard";
    before.injectors = {regular, silent};
    before.firings = {{"A", {}, 1.0, 0.9, 1.1, 0.0, 0.0, 1.0, "even"}, {"B", {}, 0.5, 0.4, 0.6, 0.0, 0.0, 1.0, "weak"}};
    before.half_order_share = 0.12;
    before.hiss = {{"12", 6.0, 4.0, 8.0, 5.0, "stands out"}, {"3", 0.1, -1.0, 1.0, 0.0, "ordinary"}};
    before.failed = {"balance: too little steady idle"};
    r.visits.push_back(before);
    ReportVisit after;
    after.date = "2024-05-11";
    after.title = "after";
    after.sprays = {spray(0.5)};
    r.visits.push_back(after);
    CompareView compare;
    compare.engine = "Marlow 1600";
    compare.before = "visit 1";
    compare.after = "visit 2";
    CompareRow row;
    row.figure = "spot 7";
    row.name = "plenum gasket, rear";
    row.unit = "rpm";
    row.before = 22.0;
    row.after = 0.5;
    row.change = {-21.5, -29.0, -14.0, 0.0001, ChangeVerdict::better};
    compare.rows = {row};
    row.figure = "hunting";
    row.name = "";
    row.before = 5.0;
    row.after = 4.0;
    row.change = {-1.0, -3.0, 2.0, 1.0, ChangeVerdict::no_proven};
    compare.rows.push_back(row);
    r.compare = compare;
    r.notes = {"2024-05-04: hose clip was missing"};
    return r;
}

std::size_t place(const std::vector<NextStep>& steps, const std::string& words) {
    for (std::size_t i = 0; i < steps.size(); ++i)
        if (steps[i].what.find(words) != std::string::npos) return i;
    return steps.size();
}

/// What stands between each `begin` and the next `end`. (std::regex overflows its stack on pages of this size.)
std::vector<std::string> after(const std::string& text, const std::string& begin, char end) {
    std::vector<std::string> found;
    for (auto at = text.find(begin); at != std::string::npos; at = text.find(begin, at + 1)) {
        const auto from = at + begin.size();
        const auto to = text.find(end, from);
        if (to != std::string::npos) found.push_back(text.substr(from, to - from));
    }
    return found;
}

/// A photo that stands in the page itself.
bool is_photo(const std::string& target) {
    constexpr std::string_view kStart = "data:image/jpeg;base64,";
    return target.starts_with(kStart) &&
           target.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789+/=",
                                    kStart.size()) == std::string::npos;
}

Photo photo(unsigned width_px, unsigned height_px) {
    auto made = page_photo(test::jpeg_picture(width_px, height_px));
    REQUIRE(made);
    return std::move(made.value());
}

/// Nothing that runs, nothing from outside, in whatever the report was made of.
void check_self_contained(const std::string& html) {
    const auto lower = [&] {
        auto t = html;
        std::transform(t.begin(), t.end(), t.begin(),
                       [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
        return t;
    }();
    for (const char* bad :
         {"<script", "<iframe", "<object", "<embed", "<link", "<a ", "<form", "<base", "@import", "javascript:"})
        CHECK_THAT(lower, !Contains(bad));
    CHECK_THAT(lower, Contains("content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\""));
    for (const auto& target : after(lower, "src=\"", '"')) REQUIRE(is_photo(target));
    // Every other reference is to something inside the page, and there.
    for (const auto& target : after(lower, "href=\"", '"')) {
        if (is_photo(target)) continue;
        REQUIRE(target.substr(0, 1) == "#");
        REQUIRE_THAT(lower, Contains("id=\"" + target.substr(1) + "\""));
    }
    for (const auto& target : after(lower, "url(", ')')) {
        REQUIRE(target.substr(0, 1) == "#");
        REQUIRE_THAT(lower, Contains("id=\"" + target.substr(1) + "\""));
    }
    // No tag, the values of its attributes aside, has a handler; none but a photo's has a source.
    for (const auto& tag : after(lower, "<", '>')) {
        std::string bare;
        bool quoted = false;
        for (const char c : tag) {
            if (c == '"') quoted = !quoted;
            if (!quoted) bare += c;
        }
        CHECK_FALSE(quoted);
        if (bare.starts_with("img")) {
            CHECK(bare == "img alt=\" src=\"");
            continue;
        }
        CHECK_THAT(bare, !Contains(" on") && !Contains("src"));
    }
}

}  // namespace

TEST_CASE("Report: holds everything of a case and stands alone", "[src][report]") {
    const auto html = report_html(full());
    check_self_contained(html);
    for (const char* words : {"Marlow 1600, blue",
                              "The job:",
                              "Before anyone sprays again",
                              "licensed technician",
                              "The spots",
                              "Visit 1",
                              "Visit 2",
                              "plenum gasket, rear",
                              "22.0",
                              "+17.0 to +27.0",
                              "Injectors",
                              "silent",
                              "Balance of the cylinders",
                              "Hiss survey",
                              "Elimination log",
                              "FAULTY",
                              "Before and after",
                              "-29.0 to -14.0",
                              "What was not decided",
                              "What to check next, the likeliest first",
                              "How the numbers were made",
                              "hose clip was missing"})
        CHECK_THAT(html, Contains(words));
    CHECK(std::count(html.begin(), html.end(), '<') == std::count(html.begin(), html.end(), '>'));
    // The drawings: map, two spray tests, comparison; names of one are not names of another.
    std::size_t drawings = 0;
    for (auto at = html.find("<svg"); at != std::string::npos; at = html.find("<svg", at + 1)) ++drawings;
    CHECK(drawings == 4);
    auto ids = after(html, " id=\"", '"');
    CHECK(ids.size() > 20);
    std::sort(ids.begin(), ids.end());
    CHECK(std::adjacent_find(ids.begin(), ids.end()) == ids.end());
}

TEST_CASE("Report: every text is escaped, wherever it comes from", "[src][report]") {
    auto r = full();
    r.car = r.engine.name = r.made_at = r.program = r.why_no_compare = kHostile;
    r.notes = {kHostile, std::string("bad \xff\xfe bytes \x01")};
    r.map->name = kHostile;
    for (auto& s : r.map->spots) s.name = kHostile;
    r.map->spots[0].spot = kHostile;
    for (auto& c : r.log) c.name = c.limits = c.reading = c.note = kHostile;
    for (auto& v : r.visits) {
        v.date = v.title = v.warmth = v.device = v.gain = v.note = kHostile;
        v.recordings = v.remarks = v.failed = {kHostile};
        for (auto& s : v.sprays) {
            s.recording = s.engine = kHostile;
            s.cautions = s.notes = {kHostile};
            for (auto& row : s.spots) row.name = kHostile;
            s.spots[0].spot = kHostile;
        }
        for (auto& i : v.injectors) i.verdict = i.reasons = kHostile;
        for (auto& f : v.firings) f.name = f.verdict = kHostile;
        for (auto& h : v.hiss) h.spot = h.verdict = kHostile;
    }
    r.compare->before = r.compare->after = r.compare->engine = kHostile;
    for (auto& row : r.compare->rows) row.figure = row.name = row.unit = kHostile;
    r.compare->cautions = r.compare->notes = {kHostile};
    r.map_photo = photo(40, 30);
    r.photos = {{kHostile, kHostile, photo(40, 30)}, {kHostile, kHostile, {}}};
    r.visits[0].photos = {{"", kHostile, photo(40, 30)}};
    check_self_contained(report_html(r));
    CHECK_THAT(report_html(r), Contains("&lt;script&gt;alert(1)"));
    const auto json = nlohmann::json::parse(report_json(r));
    CHECK(json["car"] == kHostile);
    CHECK(html_text("<&>\"'\xff") == "&lt;&amp;&gt;&quot;&#39;\xef\xbf\xbd");
    r = full();
    r.visits[0].sprays[0].spots[0].spot = "=1+1";
    CHECK_THAT(report_csv(r), Contains("spray,'=1+1,change"));
}

TEST_CASE("Report: shows the photos of a case, and fetches nothing for them", "[src][report][photo]") {
    auto r = full();
    r.map_photo = photo(400, 300);
    r.photos = {{"the <bay>", "bay.jpg", photo(40, 30)}};
    r.visits[1].photos = {{"", "hose \"11\".jpg", photo(50, 30)}, {"the & clip", "clip.jpg", {}}};
    const auto html = report_html(r);
    check_self_contained(html);
    const auto with = [](const ReportPhoto& p) { return p.photo->data_url(); };
    CHECK_THAT(html, Contains("<img alt=\"the &lt;bay&gt;\" src=\"" + with(r.photos[0]) + "\">"));
    CHECK_THAT(html, Contains("<img alt=\"hose &quot;11&quot;.jpg\" src=\"" + with(r.visits[1].photos[0]) + "\">"));
    CHECK_THAT(html, Contains("Photo the &amp; clip: it cannot be shown."));
    // The map's own lies in the drawing, as it was made: under the spots.
    CHECK_THAT(html, Contains("href=\"" + r.map_photo->data_url() + "\""));
    CHECK(after(html, "<img ", '>').size() == 2);
    CHECK(html.find(with(r.visits[1].photos[0])) > html.find("Visit 2"));
    CHECK(html.find(with(r.photos[0])) > html.find("hose clip was missing"));
    auto ids = after(html, " id=\"", '"');
    std::sort(ids.begin(), ids.end());
    CHECK(std::adjacent_find(ids.begin(), ids.end()) == ids.end());
}

TEST_CASE("Report: says what to check next, the likeliest first", "[src][report]") {
    auto r = full();
    auto steps = next_steps(r);
    // Known faults, then what is proven, then what may be; the leak at 7 was mended between the visits.
    CHECK(place(steps, "throttle position sensor") == 0);
    CHECK(place(steps, "Mend the joint at spot 7") == steps.size());
    CHECK(place(steps, "injector 3") < place(steps, "Firing B"));
    CHECK(place(steps, "Firing B") < place(steps, "Test spot 12"));
    CHECK(place(steps, "Test spot 12") < place(steps, "A few more bursts at spot 9"));
    CHECK(place(steps, "A few more bursts at spot 9") < place(steps, "Check the cam timing"));
    CHECK(place(steps, "Check the fuel pressure") == steps.size());
    r.visits.pop_back();
    steps = next_steps(r);
    CHECK(place(steps, "Mend the joint at spot 7") == 1);
    CHECK(place(steps, "Test spot 11 (plenum gasket, front) again once its neighbour") < steps.size());
    const auto open = undecided(r);
    CHECK(std::any_of(open.begin(), open.end(), [](const auto& l) { return l.find("spot 9") == 0; }));
    CHECK(std::any_of(open.begin(), open.end(), [](const auto& l) { return l.find("never sprayed") != l.npos; }));
    CHECK(std::any_of(open.begin(), open.end(), [](const auto& l) { return l.find("too little steady") != l.npos; }));
    CaseReport empty;
    CHECK_FALSE(next_steps(empty).empty());
    check_self_contained(report_html(empty));
}

TEST_CASE("Report: the same facts as CSV and JSON", "[src][report]") {
    const auto csv = report_csv(full());
    CHECK_THAT(csv, Contains("visit,test,subject,quantity,value,low,high,unit,verdict\n"));
    CHECK_THAT(csv, Contains("2024-05-04,spray,7,change,22,17,27,rpm,leak\n"));
    CHECK_THAT(csv, Contains(",compare,spot 7,difference,-21.5,-29,-14,rpm,better\n"));
    CHECK_THAT(csv, Contains(",log,throttle position sensor,state,,,,,faulty\n"));
    const auto json = nlohmann::json::parse(report_json(full()));
    CHECK(json["visits"][0]["spray"][0]["spots"][1]["verdict"] == "leak");
    CHECK(json["compare"]["figures"][0]["verdict"] == "better");
    CHECK(json["next"].size() == next_steps(full()).size());
}

TEST_CASE("Report: of a case on the disk, without touching its sound", "[src][report]") {
    const ScratchFolder scratch;
    const auto folder = scratch.path("car");
    Engine engine;
    engine.name = "Fell 1300";
    BayMap map{.name = "bay", .picture = {}, .spots = {{"1", "hose <b>", SpotKind::hose, 0, 0, {}}}};
    {
        auto book = Casebook::create(folder, "Fell <1300>", engine, map);
        REQUIRE(book);
        Visit visit;
        visit.title = "first";
        const auto id = book.value().add_visit(visit);
        REQUIRE(id);
        LogEntry entry;
        entry.name = "fuel pressure";
        entry.low = 2.5, entry.high = 3.0, entry.reading = 2.1, entry.unit = "bar";
        entry.state = LogState::faulty;
        REQUIRE(book.value().add_log_entry(entry));
        REQUIRE(book.value().add_note(id.value(), "smells of fuel & more"));
    }
    const auto ran = test::run_idlehark("report " + folder + " -o " + scratch.path("r.html"));
    CAPTURE(ran.err);
    REQUIRE(ran.code == 0);
    const auto html = test::slurp(scratch.path("r.html"));
    check_self_contained(html);
    CHECK_THAT(html, Contains("Fell &lt;1300&gt;") && Contains("2.5 to 3 bar") && Contains("2.1 bar"));
    CHECK_THAT(html, Contains("smells of fuel &amp; more"));
    CHECK(test::run_idlehark("report " + scratch.path("none")).code == 2);
    CHECK(test::run_idlehark("report " + folder + " --format csv").out.find("visit,test") == 0);
    CHECK(test::run_idlehark("compare " + folder).code == 2);
}

TEST_CASE("Report: prints on A4 and on Letter, pages full width and nothing cut off", "[src][report]") {
    if (std::system("command -v chromium >/dev/null && command -v pdfinfo >/dev/null") != 0) {
        WARN("NOT CHECKED: chromium or poppler-utils is not installed");
        return;
    }
    const ScratchFolder folder;
    const auto html = report_html(full());
    for (const auto& [name, css, size] : {std::tuple{"a4", "A4", "595"}, std::tuple{"letter", "letter", "612"}}) {
        CAPTURE(name);
        auto sized = html;
        sized.replace(sized.find("@page {"), 7, std::string("@page { size: ") + css + ";");
        const auto page = folder.file(std::string(name) + ".html", sized);
        const auto pdf = folder.path(std::string(name) + ".pdf");
        const std::string run = "HOME=" + folder.path("home") +
                                " timeout 120 chromium --headless --no-sandbox --disable-gpu --no-pdf-header-footer "
                                "--print-to-pdf=" +
                                pdf + " file://" + page + " >" + folder.path("log") + " 2>&1";
        if (std::system(run.c_str()) != 0) FAIL(test::slurp(folder.path("log")));
        REQUIRE(std::system(("pdfinfo " + pdf + " >" + folder.path("info")).c_str()) == 0);
        const auto info = test::slurp(folder.path("info"));
        CHECK_THAT(info, Contains(std::string("(") + css + ")"));
        std::smatch pages;
        REQUIRE(std::regex_search(info, pages, std::regex{R"(Pages:\s+(\d+))"}));
        CHECK(std::stoi(pages[1]) >= 4);
        CHECK(std::stoi(pages[1]) <= 12);
        // First and last words are on the paper, and no word lies outside it.
        REQUIRE(std::system(("pdftotext -bbox " + pdf + " " + folder.path("words")).c_str()) == 0);
        const auto words = test::slurp(folder.path("words"));
        CHECK_THAT(words, Contains(">Idle</word>") && Contains(">check`).</word>"));
        const std::regex edge{R"re(xMax="([0-9.]+)")re"};
        double most = 0.0;
        for (std::sregex_iterator i{words.begin(), words.end(), edge}, end; i != end; ++i)
            most = std::max(most, std::stod((*i)[1]));
        CHECK(most < std::stod(size));
    }
}

TEST_CASE("Report: text of several lines stands on one, without a sign for each end", "[src][report]") {
    CHECK(html_text("hose\nat 7\tsoft\r<b>") == "hose at 7 soft &lt;b&gt;");
    CHECK(html_text("a\x01\xff") == "a\xef\xbf\xbd");
}

TEST_CASE("Report: in the case's own folder it replaces a report and nothing else", "[src][report]") {
    namespace fs = std::filesystem;
    const ScratchFolder scratch;
    const auto folder = scratch.path("car");
    REQUIRE(Casebook::create(folder, "Fell", Engine{}, {}));
    fs::create_symlink(folder + "/case.sqlite", scratch.path("link.html"));
    fs::create_symlink(folder, scratch.path("way"));
    const auto before = test::slurp(folder + "/case.sqlite");
    const auto engine = test::slurp(folder + "/engine.json");
    const auto report_to = [&](const std::string& out) {
        return test::run_idlehark("report " + folder + " --no-compare -o " + out);
    };
    for (const auto& out : {folder + "/case.sqlite", folder + "/engine.json", folder + "/audio/report.html",
                            scratch.path("link.html"), scratch.path("way/case.sqlite"), folder + "/audio"}) {
        CAPTURE(out);
        const auto ran = report_to(out);
        CHECK(ran.code == 2);
        CHECK_THAT(ran.err, Contains("lies in the case"));
    }
    CHECK(test::slurp(folder + "/case.sqlite") == before);
    CHECK(test::slurp(folder + "/engine.json") == engine);
    CHECK(fs::is_empty(folder + "/audio"));
    CHECK(report_to(folder + "/report.html").code == 0);
    CHECK(report_to(scratch.path("way/report.html")).code == 0);  // once more
    CHECK_THAT(test::slurp(folder + "/report.html"), Contains("</html>"));
    const auto victim = scratch.file("victim", "precious");
    fs::create_symlink(victim, folder + "/report.csv");
    CHECK(report_to(folder + "/report.csv").code == 2);
    CHECK(test::slurp(victim) == "precious");
    CHECK_THAT(report_to("/dev/stdout").out, Contains("</html>"));
}
