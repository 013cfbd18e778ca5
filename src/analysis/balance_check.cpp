#include "src/analysis/balance_check.hpp"

#include "dsp/balance/pulse_finder.hpp"
#include "src/files/json_text.hpp"
#include "src/recording/sound_file.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>

#include <fmt/format.h>

namespace idlehark {

namespace {

constexpr double kShortest_s = 10.0;

Result<std::vector<double>> reference_pulses(const BalanceRequest& request) {
    auto file = SoundFile::open(request.listen.path, *request.reference_channel);
    if (!file) return file.error();
    PulseFinder finder(file.value().info().sample_rate_hz);
    for (AudioView block = file.value().read(); !block.empty(); block = file.value().read()) finder.process(block);
    return finder.pulses_s();
}

std::string list(const std::vector<std::string>& names) {
    std::string text;
    for (std::size_t i = 0; i < names.size(); ++i)
        text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
    return text;
}

void write_headline(BalanceView& view) {
    std::vector<std::string> weak, misses, different, open;
    for (const auto& r : view.rows) {
        const auto v = r.figures.verdict;
        if (v == CylinderVerdict::weak) weak.push_back(label(r.name, r.at_tail_pipe));
        if (v == CylinderVerdict::misfires) misses.push_back(label(r.name, r.at_tail_pipe));
        if (v == CylinderVerdict::sounds_different) different.push_back(r.name);
        if (v == CylinderVerdict::undecided) open.push_back(r.name);
    }
    const auto said = [&](const std::vector<std::string>& names, const char* one, const char* many) {
        if (names.empty()) return;
        const std::string kind = view.named ? "cylinder" : "firing";
        view.headline += (view.headline.empty() ? "" : "; ") + kind + (names.size() == 1 ? " " : "s ") + list(names) +
                         (names.size() == 1 ? one : many);
    };
    said(weak, " is weak", " are weak");
    said(misses, " misfires", " misfire");
    if (!view.headline.empty()) view.headline.front() = view.named ? 'C' : 'F';
    if (!view.headline.empty()) return;
    if (!different.empty())
        view.headline = "The cylinders sound different; no loss of strength is proven";
    else if (open.empty())
        view.headline = view.rows.size() == 1 ? "No missing firings are heard" : "The cylinders sound even";
    else
        view.headline =
            fmt::format("Undecided for {} of {} cylinders; none is proven faulty", open.size(), view.rows.size());
}

void write_notes(BalanceView& view, const BalanceRequest& request) {
    const auto& b = view.balance;
    if (!view.named && view.rows.size() > 1 && std::isfinite(b.spark_to_sound_deg)) {
        view.notes.push_back(fmt::format(
            "letters instead of cylinder numbers: firings are heard {:.0f} degrees after the reference's sparks, where "
            "neither combustion nor the tail pipe is due; put the microphone to the tail pipe or over the engine",
            b.spark_to_sound_deg));
    } else if (!view.named && view.rows.size() > 1) {
        view.notes.emplace_back(
            request.reference_channel
                ? "letters instead of cylinder numbers: the reference channel has no pulse that comes once a cycle at "
                  "one angle (a lead that also sparks on the exhaust stroke pulses twice)"
                : "letters instead of cylinder numbers: sound tells the firing order, not which firing is which "
                  "cylinder; A is the first one heard. A pick-up on one lead, recorded on another channel, names them "
                  "(--reference-channel)");
    }
    if (std::any_of(view.rows.begin(), view.rows.end(), [](const auto& r) { return !r.at_tail_pipe.empty(); }))
        view.notes.emplace_back(
            "at the tail pipe a firing is heard a third of a crank turn after its spark, or later: if the microphone "
            "was there, the cylinder in brackets is meant");
    bool different = false, weak = false, uncounted = false, none_missing = false;
    for (const auto& r : view.rows) {
        different = different || r.figures.verdict == CylinderVerdict::sounds_different;
        weak = weak || r.figures.verdict == CylinderVerdict::weak;
        uncounted = uncounted || std::isnan(r.figures.misfire_percent);
        none_missing = none_missing || r.figures.verdict == CylinderVerdict::even;
    }
    if (different)
        view.notes.emplace_back(
            "a cylinder that is louder in one band and softer in another sounds different (another path to the "
            "microphone, another exhaust pipe); that is no proof of less work");
    if (b.half_softer)
        view.notes.emplace_back(
            "half of the cylinders are softer together, as a row is that lies further from the microphone: they are "
            "compared with one another; record from the other side, too");
    if (none_missing)
        view.notes.emplace_back(
            "\"even\" holds for what this microphone heard: the breath of the intake goes on when a firing is missing, "
            "so near the intake missing firings can go unheard; record at the exhaust, too");
    if (weak)
        view.notes.emplace_back(
            "strength is what is heard: a cylinder that a wall or another part hides in every band looks weak too; "
            "record again from the other side before taking anything apart");
    if (uncounted)
        view.notes.emplace_back(
            "misfires are not counted where single firings drown in the noise, or where a cylinder is so weak or "
            "misses so many that a firing and a miss look alike");
    if (b.left_out_cycles > 0)
        view.notes.push_back(fmt::format("{} of {} cycles were left out: knocks, speech or drop-outs",
                                         b.left_out_cycles, b.cycles + b.left_out_cycles));
    view.cautions.emplace_back(
        "keep hands, sleeves, leads and the microphone clear of belts, of fans (they may start by themselves) and of "
        "hot "
        "parts; a pick-up goes round a lead's insulation and never near bare ignition parts");
}

std::string percent(double x, double low, double high) {
    return std::isfinite(x) ? fmt::format("{:.1f} ({:.1f} to {:.1f})", x, low, high) : std::string("not counted");
}

}  // namespace

std::variant<BalanceView, BalanceFailure> check_balance(const BalanceRequest& request, const ListenSinks& sinks) {
    const auto& engine = request.listen.engine;
    if (request.reference_channel && (request.reference_cylinder < 1 || request.reference_cylinder > engine.cylinders))
        return BalanceFailure{
            {fmt::format("--reference-cylinder: {} is not in 1..{}", request.reference_cylinder, engine.cylinders),
             ""}};
    if (request.reference_channel && *request.reference_channel == request.listen.channel)
        return BalanceFailure{{"--reference-channel: is the channel that is listened to",
                               "Give the microphone's channel as --channel and the pick-up's as --reference-channel."}};
    std::vector<double> pulses;
    if (request.reference_channel) {
        auto found = reference_pulses(request);
        if (!found) return BalanceFailure{found.error()};
        pulses = std::move(found.value());
    }
    std::optional<BalanceEar> ear;
    std::vector<RpmReading> readings;
    ListenSinks own = sinks;
    own.start = [&](double rate_hz) { ear.emplace(engine, rate_hz); };
    own.sound = [&](AudioView x) { ear->process(x); };
    own.readings = [&](std::span<const RpmReading> r) { readings.insert(readings.end(), r.begin(), r.end()); };
    const auto heard = listen_through(request.listen, own);
    if (!heard) return BalanceFailure{heard.error()};
    if (const auto reason = why_no_lock(heard.value(), request.listen)) return BalanceFailure{*reason, true};

    BalanceView view;
    view.engine = engine.name;
    view.recording = request.listen.path;
    view.balance = ear->judge(readings, pulses);
    const auto& b = view.balance;
    if (!b.steady)
        return BalanceFailure{
            {fmt::format("{}: the speed ran from {:.0f} to {:.0f} rpm; firings compare at one speed only",
                         request.listen.path, b.rpm_low, b.rpm_high),
             "Record 30 seconds of idle or more, without touching the throttle."},
            true};
    if (!b.heard)
        return BalanceFailure{
            {heard.value().length_s < kShortest_s || b.cycles == 0
                 ? fmt::format("{}: too little steady idle to compare cylinders", request.listen.path)
                 : fmt::format("{}: single firings do not stand out of this sound", request.listen.path),
             "Record 30 seconds of idle or more, with the microphone nearer to the engine and away from fans."},
            true};
    view.named = b.rotation_known && engine.cylinders > 1;
    auto order = engine.firing_order;
    if (order.empty())
        for (int c = 1; c <= engine.cylinders; ++c) order.push_back(c);
    const auto at =
        static_cast<std::size_t>(std::find(order.begin(), order.end(), request.reference_cylinder) - order.begin());
    const std::size_t n = b.cylinders.size();
    for (std::size_t i = 0; i < n; ++i) {
        BalanceRow row{
            view.named || n == 1 ? std::to_string(order[(at + i) % n]) : std::string(1, static_cast<char>('A' + i)),
            {},
            b.cylinders[i]};
        if (view.named)
            for (const std::size_t later : b.tail_pipe_later)
                row.at_tail_pipe.push_back(order[(at + i + n - later) % n]);
        view.rows.push_back(std::move(row));
    }
    view.cautions = heard.value().warnings;
    write_headline(view);
    write_notes(view, request);
    return view;
}

std::string label(const std::string& name, std::span<const int> at_tail_pipe) {
    if (at_tail_pipe.empty()) return name;
    std::string other;
    for (const int k : at_tail_pipe) other += (other.empty() ? "" : " or ") + std::to_string(k);
    return fmt::format("{} (at the tail pipe: {})", name, other);
}

std::string word(CylinderVerdict v) {
    switch (v) {
        case CylinderVerdict::even:
            return "even";
        case CylinderVerdict::weak:
            return "weak";
        case CylinderVerdict::misfires:
            return "misfires";
        case CylinderVerdict::sounds_different:
            return "sounds different";
        case CylinderVerdict::undecided:
            break;
    }
    return "undecided";
}

std::string balance_table(const BalanceView& view) {
    const auto& b = view.balance;
    std::string text = view.headline + "\n\n";
    text += fmt::format("{:<42}{:.0f} rpm\n", "idle speed", b.rpm);
    text += fmt::format("{:<42}{} in {:.0f} s\n", "cycles compared", b.cycles, b.used_s);
    if (std::isfinite(b.half_order_share))
        text += fmt::format("{:<42}{:.1f} %\n", "half orders, share of the lines", 100.0 * b.half_order_share);
    text += fmt::format("\n{:<8}  {:>5}  {:>8}  {:<15}  {:<22}  verdict\n", view.named ? "cylinder" : "firing", "deg",
                        "strength", "95 % interval", "misfires heard, %");
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        const bool known = std::isfinite(f.strength);
        text += fmt::format("{:<8}  {:>5.0f}  {:>8}  {:<15}  {:<22}  {}\n", r.name, f.angle_deg,
                            known ? fmt::format("{:.2f}", f.strength) : "",
                            known ? fmt::format("{:.2f} to {:.2f}", f.strength_low, f.strength_high) : "",
                            percent(f.misfire_percent, f.misfire_low, f.misfire_high), word(f.verdict));
    }
    text += "\n";
    for (const auto& c : view.cautions) text += "caution: " + c + "\n";
    for (const auto& n : view.notes) text += "note: " + n + "\n";
    return text;
}

std::string balance_json(const BalanceView& view) {
    const auto& b = view.balance;
    Json json{{"rpm", json_number(b.rpm, 3)}, {"seconds", json_number(b.used_s, 3)},
              {"cycles", b.cycles},           {"half_order_share", json_number(b.half_order_share, 3)},
              {"named", view.named},          {"spark_to_sound_deg", json_number(b.spark_to_sound_deg, 1)},
              {"summary", view.headline},     {"cylinders", Json::array()}};
    for (const auto& r : view.rows) {
        const auto& f = r.figures;
        Json c;
        if (view.named || view.rows.size() == 1)
            c["cylinder"] = std::stoi(r.name);
        else
            c["firing"] = r.name;
        if (view.named) c["at_tail_pipe"] = r.at_tail_pipe;
        c["angle_deg"] = json_number(f.angle_deg, 3);
        c["strength"] = json_number(f.strength, 3);
        c["strength_low"] = json_number(f.strength_low, 3);
        c["strength_high"] = json_number(f.strength_high, 3);
        c["misfire_percent"] = json_number(f.misfire_percent, 3);
        c["misfire_low"] = json_number(f.misfire_low, 3);
        c["misfire_high"] = json_number(f.misfire_high, 3);
        c["p_weak"] = f.p_weak;
        c["p_misfire"] = f.p_misfire;
        c["verdict"] = word(f.verdict);
        json["cylinders"].push_back(std::move(c));
    }
    json["cautions"] = view.cautions;
    json["notes"] = view.notes;
    return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace idlehark
