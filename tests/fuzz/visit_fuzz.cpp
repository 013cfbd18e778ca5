// A guided test's record, and what users and sound do after it was resumed: nothing prompts while a caution is open, no
// limit is passed, and the record reads the same again. Input: JSON text, a zero byte, a script of events.
#include "src/casebook/visit_record.hpp"
#include "src/files/json_text.hpp"
#include "src/visit/spray_visit.hpp"
#include "src/visit/visit_marks.hpp"
#include "tests/fuzz/fuzz.hpp"

using namespace idlehark;
using fuzz::must;

namespace {

constexpr const char* kSpots[] = {"3", "7", "9", "none"};

void one_event(SprayVisit& visit, fuzz::Bytes& in, double& now_s) {
    const auto event = in.byte();
    const std::string spot = kSpots[in.byte() % 4];
    now_s += static_cast<double>(in.byte()) / 10.0;
    switch (event % 16) {
        case 0:
        case 1:
            return visit.answer(in.byte() % kCautionPoints, event < 128);
        case 2:
            for (std::size_t point = 0; point < kCautionPoints; ++point) visit.answer(point, true);
            return;
        case 3:
            for (int i = 0; i < 600; ++i) visit.reading(now_s += 0.1, 820.0, true);  // a minute of quiet idle
            return;
        case 4:
            return visit.reading(now_s, 600.0 + in.byte(), event < 200);
        case 5:
            return visit.gap(now_s);
        case 6:
            return visit.hiss(now_s - static_cast<double>(in.byte()) / 20.0, 1.0);
        case 7:
            return visit.key(now_s, event < 128 ? "" : spot);
        case 8:
            return visit.repeat();
        case 9:
            return visit.skip();
        case 10:
            return visit.wrong_spot(spot);
        case 11:
            return visit.undo();
        case 12:
            return visit.begin_recording(in.text(), now_s);
        case 13:
            return event < 32 ? visit.stop() : visit.time(now_s);
        case 14: {
            VisitPlan plan;
            plan.outcome = static_cast<VisitPlan::Outcome>(event < 200 ? 0 : in.byte() % 3);
            plan.spots = {spot};
            if (event % 32 == 14) plan.spots.emplace_back(kSpots[in.byte() % 4]);
            plan.sham = in.byte() > 200;
            if (in.byte() > 200) plan.decided = {spot};
            static_cast<void>(visit.take(plan));
            return;
        }
        default:
            return visit.time(now_s);
    }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const auto all = fuzz::text_of(data, size);
    const auto split = std::min(all.find('\0'), size);
    VisitRecord record;
    if (const auto json = parse_json_object(all.substr(0, split), "record"))
        if (auto read = visit_record_from_json(json.value(), "record")) {
            record = std::move(read.value());
            const auto written = visit_record_json(record);
            const auto again = visit_record_from_json(written, "again");
            must(again && visit_record_json(again.value()) == written, "what is written reads the same again");
            static_cast<void>(marks_of_visit(record));
        }
    VisitConfig config;
    config.spots = {"3", "7", "9"};
    SprayVisit visit{config, record};
    double now_s = visit.now_s();
    fuzz::Bytes in{data + std::min(split + 1, size), size - std::min(split + 1, size)};
    for (int events = 0; !in.empty() && events < 500; ++events) {
        const auto prompted = visit.state().prompt;
        one_event(visit, in, now_s);
        const auto state = visit.state();
        must(state.stage != VisitStage::prompting || visit.cautions().open(), "no prompt while a caution is open");
        if (state.stage == VisitStage::prompting && state.prompt != prompted)
            for (const auto& spot : state.asked)
                must(!visit.forbidden(spot) && visit.bursts_on(spot) < config.most_per_spot,
                     "no prompt beyond a limit");
        must(!state.next_step.empty(), "there is always a next step");
    }
    static_cast<void>(marks_of_visit(visit.record()));
    return 0;
}
