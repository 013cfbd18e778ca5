#include "src/casebook/case_report_of.hpp"

#include "src/casebook/case_result.hpp"
#include "src/casebook/case_text.hpp"
#include "src/casebook/figures.hpp"
#include "src/casebook/picture_store.hpp"
#include "src/files/local_time.hpp"

#include <algorithm>
#include <map>
#include <string_view>

#include <fmt/format.h>

namespace idlehark {

namespace {

using figures::number;
using figures::rows;
using figures::text;
using figures::texts;
using figures::wholes;

VerdictView spray_view(const CaseResult& r, const std::string& recording, const std::string& engine, const BayMap* map,
                       const std::vector<RpmReading>& trace) {
    const auto& f = r.figures;
    VerdictView view;
    view.guided = r.kind == "guided";
    view.recording = recording;
    view.engine = engine;
    view.idle_rpm = number(f, "idle_rpm");
    view.hunting_rpm = number(f, "hunting_rpm");
    view.smallest_provable_rpm = number(f, "smallest_provable_rpm");
    view.matters_rpm = number(r.settings, "matters_rpm");
    view.length_s = number(f, "length_s");
    view.cautions = texts(f, "cautions");
    view.notes = texts(f, "notes");
    for (const auto& row : rows(f, "spots")) {
        const auto spot = text(row, "spot");
        const auto* on_map = map ? map->find(spot) : nullptr;
        view.spots.push_back(
            {.spot = spot,
             .name = on_map ? on_map->name : std::string{},
             .bursts = figures::whole(row, "bursts"),
             .change_rpm = number(row, "change_rpm"),
             .low_rpm = number(row, "low_rpm"),
             .high_rpm = number(row, "high_rpm"),
             .p_value = number(row, "p_value"),
             .delay_s = number(row, "delay_s"),
             .verdict = figures::said(text(row, "verdict"),
                                      {SprayVerdict::leak, SprayVerdict::overspray, SprayVerdict::none_seen},
                                      SprayVerdict::undecided)});
    }
    for (const auto& b : rows(f, "bursts"))
        if (const auto t = number(b, "time_s"); std::isfinite(t))
            view.bursts.push_back({.time_s = t, .spot = text(b, "spot")});
    for (const auto& p : trace) view.speed.push_back({p.time_s, p.locked ? p.rpm : std::nan("")});
    if (!std::isfinite(view.length_s) && !trace.empty()) view.length_s = trace.back().time_s;
    return view;
}

void add_injectors(ReportVisit& v, const Json& f) {
    v.injectors.clear();
    for (const auto& row : rows(f, "injectors"))
        v.injectors.push_back({.cylinder = figures::whole(row, "cylinder"),
                               .rate_hz = number(row, "rate_hz"),
                               .expected_hz = number(row, "expected_hz"),
                               .missed_percent = number(row, "missed_percent"),
                               .missed_low = number(row, "missed_low_percent"),
                               .missed_high = number(row, "missed_high_percent"),
                               .jitter_us = number(row, "jitter_us"),
                               .open_close_ms = number(row, "open_close_ms"),
                               .level_db = number(row, "level_db"),
                               .verdict = text(row, "verdict"),
                               .reasons = text(row, "reasons")});
}

void add_balance(ReportVisit& v, const Json& f) {
    v.firings.clear();
    v.half_order_share = number(f, "half_order_share");
    for (const auto& row : rows(f, "cylinders")) {
        v.firings_named = row.contains("cylinder");
        v.firings.push_back({.name = text(row, v.firings_named ? "cylinder" : "firing"),
                             .at_tail_pipe = wholes(row, "at_tail_pipe"),
                             .strength = number(row, "strength"),
                             .strength_low = number(row, "strength_low"),
                             .strength_high = number(row, "strength_high"),
                             .misfire_percent = number(row, "misfire_percent"),
                             .misfire_low = number(row, "misfire_low"),
                             .misfire_high = number(row, "misfire_high"),
                             .verdict = text(row, "verdict")});
    }
}

void add_hiss(ReportVisit& v, const Json& f) {
    v.hiss.clear();
    for (const auto& row : rows(f, "spots"))
        v.hiss.push_back({.spot = text(row, "spot"),
                          .level_db = number(row, "level_db"),
                          .level_low_db = number(row, "level_low_db"),
                          .level_high_db = number(row, "level_high_db"),
                          .follow_db = number(row, "follow_db"),
                          .verdict = text(row, "verdict")});
}

Result<ReportVisit> visit_of(const Casebook& book, const Visit& visit, const std::string& engine, const BayMap* map) {
    ReportVisit v;
    v.id = visit.id;
    v.date = visit.date;
    v.title = visit.title;
    v.warmth = visit.warmth == Warmth::not_said ? "" : std::string{word(visit.warmth)};
    v.device = visit.device;
    v.gain = visit.gain;
    v.note = visit.note;
    const auto recordings = book.recordings(visit.id);
    if (!recordings) return recordings.error();
    for (const auto& r : recordings.value())
        v.recordings.push_back(fmt::format("{} ({}, {:.0f} s)", r.file, word(r.kind), r.length_s()));
    const auto answers = book.gate_answers(visit.id);
    if (!answers) return answers.error();
    for (const auto& a : answers.value()) {
        const auto same = std::find_if(v.answers.begin(), v.answers.end(),
                                       [&](const ReportAnswer& known) { return known.question == a.question; });
        if (same == v.answers.end())
            v.answers.push_back({a.question, a.answer, a.answered_at});
        else
            *same = {a.question, a.answer, a.answered_at};
    }
    auto guided = book.guided(visit.id);
    if (!guided) return guided.error();
    v.guided = std::move(guided.value());
    const auto results = book.latest_results(visit.id);
    if (!results) return results.error();
    const auto guided_too = [&](const CaseResult& r) {
        return std::any_of(results.value().begin(), results.value().end(), [&](const CaseResult& g) {
            return g.kind == "guided" && g.answered && !g.sources.empty() && !r.sources.empty() &&
                   std::any_of(g.sources.begin(), g.sources.end(),
                               [&](const ResultSource& s) { return s.recording == r.sources.front().recording; });
        });
    };
    for (const auto& r : results.value()) {
        if (r.kind == "heard") continue;
        // A guided test's own standing allows for its looks; the same bursts judged once more would not.
        if (r.kind == "spray" && guided_too(r)) continue;
        if (!r.answered) {
            v.failed.push_back(fmt::format("{}: {}", r.kind, finding_of(r)));
            continue;
        }
        const RowId source = r.sources.empty() ? 0 : r.sources.front().recording;
        if (r.kind == "spray" || r.kind == "guided") {
            std::string files;
            for (const auto& s : r.sources) {
                const auto recording = book.recording(s.recording);
                if (!recording) return recording.error();
                files += (files.empty() ? "" : ", ") + recording.value().file;
            }
            const auto trace = r.sources.size() > 1 ? book.trace(r.id) : book.trace_of_recording(source);
            if (!trace) return trace.error();
            v.sprays.push_back(spray_view(r, files, engine, map, trace.value()));
            continue;
        }
        if (r.kind == "idle") v.idle_rpm = number(r.figures, "rpm");
        if (r.kind == "injectors") add_injectors(v, r.figures);
        if (r.kind == "balance") add_balance(v, r.figures);
        if (r.kind == "hiss") add_hiss(v, r.figures);
        for (const auto* key : {"cautions", "notes"})
            for (const auto& t : texts(r.figures, key)) {
                const auto line = fmt::format("{}: {}", r.kind, t);
                if (std::find(v.remarks.begin(), v.remarks.end(), line) == v.remarks.end()) v.remarks.push_back(line);
            }
    }
    return v;
}

/// Nothing where the case has no such picture, or it is damaged.
std::optional<Photo> photo_of(const Casebook& book, const std::string& name) {
    const auto path = book.folder().existing("pictures", name);
    if (!path) return {};
    const auto bytes = picture_to_keep(path.value());
    if (!bytes) return {};
    auto photo = page_photo(bytes.value());
    return photo ? std::optional{std::move(photo.value())} : std::nullopt;
}

/// The map's photo under the map, the others with their visits.
Result<Done> add_photos(const Casebook& book, CaseReport& report) {
    std::string under_map;
    if (report.map && report.map->picture.starts_with(kPictureFolder)) {
        under_map = report.map->picture.substr(kPictureFolder.size());
        report.map_photo = photo_of(book, under_map);
    }
    const auto pictures = book.pictures();
    if (!pictures) return pictures.error();
    for (const auto& p : pictures.value()) {
        if (p.file == under_map && report.map_photo) continue;
        const auto visit = std::find_if(report.visits.begin(), report.visits.end(),
                                        [&](const ReportVisit& v) { return p.visit && v.id == *p.visit; });
        auto& photos = visit == report.visits.end() ? report.photos : visit->photos;
        photos.push_back({.title = p.title, .file = p.file, .photo = photo_of(book, p.file)});
    }
    return Done{};
}

std::string limits_of(const LogEntry& e) {
    const auto unit = e.unit.empty() ? "" : " " + e.unit;
    if (e.low && e.high) return fmt::format("{:g} to {:g}{}", *e.low, *e.high, unit);
    if (e.low) return fmt::format("{:g}{} or more", *e.low, unit);
    if (e.high) return fmt::format("up to {:g}{}", *e.high, unit);
    return {};
}

}  // namespace

Result<CaseReport> report_of(const Casebook& book) {
    CaseReport report;
    const auto car = book.car();
    if (!car) return car.error();
    report.car = car.value().name;
    report.made_at = local_time("%Y-%m-%d %H:%M");
    report.program = "idlehark " IDLEHARK_VERSION;
    const auto engine = book.engine();
    if (!engine) return engine.error();
    report.engine = engine.value().engine;
    auto map = book.map();
    if (!map) return map.error();
    if (map.value()) report.map = std::move(map.value()->map);
    const auto log = book.log();
    if (!log) return log.error();
    std::map<std::string_view, std::size_t> place;
    for (const auto& e : log.value()) {
        ReportCheck check{.name = e.name,
                          .limits = limits_of(e),
                          .reading = e.reading ? fmt::format("{:g}{}{}", *e.reading, e.unit.empty() ? "" : " ", e.unit)
                                               : std::string{},
                          .note = e.note,
                          .state = e.state == LogState::ok       ? ReportCheck::State::ok
                                   : e.state == LogState::faulty ? ReportCheck::State::faulty
                                                                 : ReportCheck::State::not_done};
        const auto [at, is_new] = place.emplace(e.name, report.log.size());
        if (is_new)
            report.log.push_back(std::move(check));
        else
            report.log[at->second] = std::move(check);
    }
    const auto visits = book.visits();
    if (!visits) return visits.error();
    for (const auto& v : visits.value()) {
        auto visit = visit_of(book, v, report.engine.name, report.map ? &*report.map : nullptr);
        if (!visit) return visit.error();
        report.visits.push_back(std::move(visit.value()));
    }
    if (const auto kept = add_photos(book, report); !kept) return kept.error();
    const auto notes = book.notes();
    if (!notes) return notes.error();
    for (const auto& n : notes.value()) report.notes.push_back(fmt::format("{}: {}", n.added_at, n.text));
    return report;
}

}  // namespace idlehark
