#include "src/desk/desk_case.hpp"

#include "src/casebook/visit_record.hpp"
#include "src/files/json_text.hpp"
#include "src/files/local_time.hpp"
#include "src/visit/caution_gate.hpp"

#include <algorithm>
#include <cmath>

namespace idlehark {

namespace {

constexpr double kSameBurst_s = 0.01;  // a mark is written to the millisecond

LogState state_of(gui::LogAnswer answer) {
    switch (answer) {
        case gui::LogAnswer::ok:
            return LogState::ok;
        case gui::LogAnswer::faulty:
            return LogState::faulty;
        case gui::LogAnswer::not_done:
            break;
    }
    return LogState::not_done;
}

gui::LogLine line_of(const LogEntry& entry) {
    gui::LogLine line;
    line.name = entry.name;
    line.unit = entry.unit;
    line.low = entry.low;
    line.high = entry.high;
    line.reading = entry.reading;
    line.note = entry.note;
    line.answer = entry.state == LogState::ok       ? gui::LogAnswer::ok
                  : entry.state == LogState::faulty ? gui::LogAnswer::faulty
                                                    : gui::LogAnswer::not_done;
    return line;
}

}  // namespace

Result<DeskCase> DeskCase::create(const std::string& folder, const std::string& name, const Engine& engine,
                                  const std::string& visit_title) {
    auto book = Casebook::create(folder, name, engine, {});
    if (!book) return book.error();
    DeskCase made{std::move(book.value())};
    made.engine_ = engine;
    made.title_ = visit_title;
    return made;
}

Result<DeskCase> DeskCase::open(const std::string& folder) {
    auto book = Casebook::open(folder, Casebook::Access::write);
    if (!book) return book.error();
    DeskCase opened{std::move(book.value())};
    if (const auto engine = opened.book_.engine()) opened.engine_ = engine.value().engine;
    if (const auto map = opened.book_.map(); map && map.value()) opened.map_ = map.value()->map;
    return opened;
}

Result<RowId> DeskCase::visit() {
    if (visit_) return *visit_;
    Visit visit;
    visit.date = now_text();
    visit.title = title_.empty() ? "visit" : title_;
    auto id = book_.add_visit(visit);
    if (id) visit_ = id.value();
    return id;
}

void DeskCase::next_visit() {
    visit_.reset();
    ask_again();
    guided_.clear();
}

Result<std::vector<gui::LogLine>> DeskCase::log(const std::vector<gui::LogLine>& usual) {
    const auto entries = book_.log();
    if (!entries) return entries.error();
    std::vector<gui::LogLine> lines;
    const auto named = [](std::vector<gui::LogLine>& list, const std::string& name) {
        return std::find_if(list.begin(), list.end(), [&](const gui::LogLine& l) { return l.name == name; });
    };
    for (const auto& entry : entries.value()) {
        if (const auto same = named(lines, entry.name); same != lines.end())
            *same = line_of(entry);
        else
            lines.push_back(line_of(entry));
    }
    auto all = usual;
    const bool begun_here =
        std::all_of(lines.begin(), lines.end(), [&](const gui::LogLine& l) { return named(all, l.name) != all.end(); });
    if (begun_here) {
        for (const auto& l : lines) *named(all, l.name) = l;
        lines = std::move(all);
    }
    log_ = lines;
    return lines;
}

Result<Done> DeskCase::keep_engine(const Engine& engine) {
    if (engine_ == engine) return Done{};
    const auto kept = book_.set_engine(engine);
    if (!kept) return kept.error();
    engine_ = engine;
    return Done{};
}

Result<Done> DeskCase::keep_map(const BayMap& map, const std::string& beside) {
    if (map.spots.empty() || map_ == map) return Done{};
    const auto kept = book_.set_map(map, beside);
    if (!kept) {
        auto spots = map;
        spots.picture.clear();
        if (map.picture.empty() || !book_.set_map(spots)) return kept.error();
    }
    map_ = map;
    return kept ? Result<Done>{Done{}} : kept.error();
}

Result<Done> DeskCase::keep_log(const std::vector<gui::LogLine>& lines) {
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const auto& line = lines[i];
        if (i < log_.size() && log_[i] == line) continue;
        const bool said =
            line.answer != gui::LogAnswer::not_done || line.reading || line.low || line.high || !line.note.empty();
        if (line.name.empty() || (!said && i >= log_.size())) continue;
        LogEntry entry;
        if (visit_) entry.visit = *visit_;
        entry.name = line.name;
        entry.low = line.low;
        entry.high = line.high;
        entry.unit = line.unit;
        entry.reading = line.reading;
        entry.state = state_of(line.answer);
        entry.note = line.note;
        if (const auto kept = book_.add_log_entry(entry); !kept) return kept.error();
    }
    log_ = lines;
    return Done{};
}

Result<Done> DeskCase::keep_gate(const gui::GateView& gate) {
    for (std::size_t i = 0; i < gui::kGatePoints; ++i) {
        if (!gate.answers[i] || gate_[i] == gate.answers[i]) continue;
        const auto id = visit();
        if (!id) return id.error();
        const auto kept =
            book_.answer_gate(id.value(), std::string{caution_points()[i].question}, *gate.answers[i] ? "yes" : "no");
        if (!kept) return kept.error();
        gate_[i] = gate.answers[i];
    }
    return Done{};
}

Result<Done> DeskCase::keep_guided(const VisitRecord& record) {
    auto timeless = record;
    timeless.clock_s = 0.0;
    auto now = visit_record_json(timeless).dump(-1, ' ', false, Json::error_handler_t::replace);
    if (now == guided_) return Done{};
    const auto id = visit();
    if (!id) return id.error();
    if (auto kept = book_.keep_guided(id.value(), record); !kept) return kept.error();
    guided_ = std::move(now);
    return Done{};
}

Result<Done> DeskCase::settle_marks(RowId recording, const VisitRecord& record) {
    struct Burst {
        double time_s;
        std::string spot;
        bool heard, kept;
    };
    std::vector<Burst> bursts;
    for (const auto& b : record.bursts)
        if (b.counts())
            for (const auto& spot : b.spots) bursts.push_back({b.time_s, spot, !b.by_key, false});
    const auto marks = book_.marks(recording);
    if (!marks) return marks.error();
    for (const auto& m : marks.value()) {
        if (m.withdrawn) continue;
        const auto it = std::find_if(bursts.begin(), bursts.end(), [&](const Burst& b) {
            return !b.kept && b.spot == m.spot && std::abs(b.time_s - m.time_s) < kSameBurst_s;
        });
        if (it != bursts.end())
            it->kept = true;
        else if (const auto done = book_.withdraw_mark(m.id); !done)
            return done.error();
    }
    for (const auto& b : bursts)
        if (!b.kept)
            if (const auto id = book_.add_mark(recording, b.time_s, b.spot, b.heard); !id) return id.error();
    return Done{};
}

}  // namespace idlehark
