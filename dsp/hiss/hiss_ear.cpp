#include "dsp/balance/cycle_bins.hpp"
#include "dsp/balance/cycle_lines.hpp"
#include "dsp/hiss/hiss_survey.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

namespace idlehark {

namespace {

constexpr double kKept_hz = 32000.0;
constexpr double kLeakFrom_hz = 2500.0;
constexpr std::size_t kPoints = 512;
constexpr std::size_t kFewestCycles = 20;
constexpr double kLinesTo_hz = 1200.0;
constexpr double kLinesStandOut = 10.0;  // power of what repeats against what does not

std::vector<BandSplit::Edges> bands() {
    auto list = BandSplit::low_bands();  // the engine's body, by which the cycles are laid over each other
    for (const BandSplit::Edges e : {BandSplit::Edges{kLeakFrom_hz, 5000.0}, {5000.0, 9000.0}, {9000.0, 13400.0}})
        list.push_back(e);
    return list;
}

double lower_quartile(std::vector<double>& v) {
    std::sort(v.begin(), v.end());
    const double at = 0.25 * static_cast<double>(v.size() - 1);
    const auto i = static_cast<std::size_t>(at);
    const double u = at - static_cast<double>(i);
    return i + 1 < v.size() ? v[i] + u * (v[i + 1] - v[i]) : v[i];
}

/// Mean power at each place after a firing, ticks left out; `at`: of the firings, parts of the cycle.
std::array<double, SpotHiss::kPlaces> places_of(const std::vector<double>& cycle, std::span<const double> at) {
    std::array<double, SpotHiss::kPlaces> out{};
    std::vector<double> v(at.size());
    const auto bins = static_cast<double>(cycle.size());
    for (std::size_t p = 0; p < SpotHiss::kPlaces; ++p) {
        for (std::size_t j = 0; j < at.size(); ++j)
            v[j] = cycle[(static_cast<std::size_t>(std::lround(at[j] * bins)) + p) % cycle.size()];
        out[p] = lower_quartile(v);
    }
    return out;
}

/// Power of the mean cycle's lines at the multiples of the firing order, dB; NaN where one doesn't stand out of what
/// does not repeat.
std::vector<double> lines_db(const CycleLines& lines, std::size_t firings, double cycle_hz) {
    const double n = lines.cycles;
    std::vector<double> out;
    for (std::size_t k = firings; k < kPoints / 2 && static_cast<double>(k) * cycle_hz < kLinesTo_hz; k += firings)
        out.push_back(lines.line[k] > kLinesStandOut * lines.noise[k] ? 10.0 * std::log10(lines.line[k] / (n * n))
                                                                      : std::numeric_limits<double>::quiet_NaN());
    return out;
}

}  // namespace

HissEar::HissEar(const Engine& engine, double sample_rate_hz)
    : engine_(engine), split_(sample_rate_hz, kKept_hz, bands()) {
    check(engine);
}

SpotHiss HissEar::finish(std::span<const RpmReading> readings) {
    split_.finish();
    SpotHiss out;
    out.rpm = std::numeric_limits<double>::quiet_NaN();
    const auto& edges = split_.bands();
    const auto first = static_cast<std::size_t>(
        std::find_if(edges.begin(), edges.end(), [](const auto& e) { return e.low_hz >= kLeakFrom_hz; }) -
        edges.begin());
    out.bands.resize(edges.size() - first);
    const std::size_t firings = static_cast<std::size_t>(engine_.cylinders);
    CrankPath path(engine_, readings);
    CycleBins cut;
    if (path.cycles() >= kFewestCycles) {
        cut = cut_cycles(split_, path, firings * SpotHiss::kPlaces);
        out.follows_known =
            static_cast<std::size_t>(std::count(cut.usable.begin(), cut.usable.end(), 1)) >= kFewestCycles;
    }
    if (out.follows_known) {
        out.rpm = speed_from_cycle_frequency(engine_, Hertz{path.mean_cycle_hz()}).value;
        out.seconds = path.end_s() - path.start_s();
        out.lines_db = lines_db(cycle_lines(split_, path, cut.usable, kPoints), firings, path.mean_cycle_hz());
        const auto fractions = firing_fractions(engine_);
        for (std::size_t b = 0; b < out.bands.size(); ++b) {
            std::vector<std::vector<double>> tenth(SpotHiss::kTenths, std::vector<double>(cut.bins, 0.0));
            std::vector<double> whole(cut.bins, 0.0);
            for (std::size_t c = 0; c < cut.cycles; ++c) {
                if (!cut.usable[c]) continue;
                auto& t = tenth[c * SpotHiss::kTenths / cut.cycles];
                for (std::size_t p = 0; p < cut.bins; ++p) t[p] += static_cast<double>(cut.row(first + b, c)[p]);
            }
            for (const auto& t : tenth)
                for (std::size_t p = 0; p < cut.bins; ++p) whole[p] += t[p];
            const double count = static_cast<double>(std::count(cut.usable.begin(), cut.usable.end(), 1));
            for (std::size_t k = 0; k < SpotHiss::kTenths; ++k) {
                double used = 0.0;
                for (std::size_t c = 0; c < cut.cycles; ++c)
                    used += cut.usable[c] && c * SpotHiss::kTenths / cut.cycles != k ? 1.0 : 0.0;
                std::vector<double> rest(cut.bins);
                for (std::size_t p = 0; p < cut.bins; ++p) rest[p] = (whole[p] - tenth[k][p]) / std::max(used, 1.0);
                out.bands[b].without[k] = places_of(rest, fractions);
            }
            for (double& v : whole) v /= count;
            out.bands[b].whole = places_of(whole, fractions);
            out.bands[b].cycle = std::move(whole);
        }
        return out;
    }
    // No cycle to go by: the level alone, in pieces of a hundredth of a second, the lower quartile of each second.
    for (std::size_t b = 0; b < out.bands.size(); ++b) {
        const auto& power = split_.power()[first + b];
        out.seconds = static_cast<double>(power.size()) * split_.spacing_s();
        const auto piece = static_cast<std::size_t>(0.01 / split_.spacing_s());
        std::vector<std::pair<std::size_t, double>> seconds;
        for (std::size_t i = 0; i + 100 * piece <= power.size(); i += 100 * piece) {
            std::vector<double> v(100, 0.0);
            for (std::size_t k = 0; k < 100 * piece; ++k)
                v[k / piece] += static_cast<double>(power[i + k]) / static_cast<double>(piece);
            seconds.emplace_back(i * SpotHiss::kTenths / power.size(), lower_quartile(v));
        }
        const auto mean = [&](std::size_t without) {
            double sum = 0.0, n = 0.0;
            for (const auto& [t, v] : seconds)
                if (t != without) sum += v, n += 1.0;
            return n > 0.0 ? sum / n : 0.0;
        };
        out.bands[b].whole.fill(mean(SpotHiss::kTenths));
        for (std::size_t k = 0; k < SpotHiss::kTenths; ++k) out.bands[b].without[k].fill(mean(k));
    }
    return out;
}

}  // namespace idlehark
