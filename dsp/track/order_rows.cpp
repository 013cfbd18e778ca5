#include "dsp/track/order_rows.hpp"

#include "dsp/windows.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <stdexcept>
#include <string>

namespace idlehark {

namespace {

constexpr float kNan = std::numeric_limits<float>::quiet_NaN();

void within(const char* name, double v, double low, double high) {
    if (!(v >= low && v <= high))
        throw std::invalid_argument(std::string{name} + ": " + std::to_string(v) + " is not in " + std::to_string(low) +
                                    ".." + std::to_string(high));
}

const OrderRowsConfig& checked(const OrderRowsConfig& c) {
    check(c.engine);
    within("sample_rate_hz", c.sample_rate_hz, 8000.0, 192000.0);
    within("hop_s", c.hop_s, 0.05, 2.0);
    within("window_s", c.window_s, 0.1, 2.0);
    within("columns", static_cast<double>(c.columns), 16.0, 4096.0);
    within("highest_firings", c.highest_firings, 1.0, 64.0);
    return c;
}

}  // namespace

OrderRows::OrderRows(const OrderRowsConfig& config)
    : config_(checked(config)),
      firing_order_(firing_frequency(config.engine, Rpm{60.0}).value),
      highest_order_(config.highest_firings * firing_order_),
      fft_(RealFft::good_size(static_cast<std::size_t>(config.window_s * config.sample_rate_hz))),
      window_(hann_window(fft_.size())),
      windowed_(fft_.size()),
      bins_(fft_.bins()),
      hop_frames_(static_cast<std::uint64_t>(std::lround(config.hop_s * config.sample_rate_hz))) {
    // Enough for half again the highest idle speed; beyond, columns are NaN.
    const double highest_hz = highest_order_ * 1.5 * config.engine.idle_high_rpm / 60.0;
    const double bin_hz = config.sample_rate_hz / static_cast<double>(fft_.size());
    kept_bins_ = std::min(fft_.bins(), static_cast<std::size_t>(highest_hz / bin_hz) + 3);
    reset();
}

void OrderRows::reset() {
    heard_.assign(fft_.size(), 0.0F);
    frames_ = 0;
    waiting_.clear();
}

void OrderRows::process(AudioView x) {
    while (!x.empty()) {
        const auto to_hop = hop_frames_ - frames_ % hop_frames_;
        const auto part = x.first(static_cast<std::size_t>(std::min<std::uint64_t>(to_hop, x.size())));
        const auto fresh = part.last(std::min(part.size(), heard_.size()));
        std::copy(heard_.begin() + static_cast<std::ptrdiff_t>(fresh.size()), heard_.end(), heard_.begin());
        std::transform(fresh.begin(), fresh.end(), heard_.end() - static_cast<std::ptrdiff_t>(fresh.size()),
                       [](float v) { return std::isfinite(v) ? v : 0.0F; });
        frames_ += part.size();
        x = x.subspan(part.size());
        if (frames_ % hop_frames_ == 0 && frames_ >= fft_.size()) transform();
    }
}

void OrderRows::transform() {
    std::transform(heard_.begin(), heard_.end(), window_.begin(), windowed_.begin(), std::multiplies<>{});
    fft_.forward(windowed_, bins_);
    Spectrum s;
    s.time_s = (static_cast<double>(frames_) - 0.5 * static_cast<double>(fft_.size())) / config_.sample_rate_hz;
    s.power.resize(kept_bins_);
    std::transform(bins_.begin(), bins_.begin() + static_cast<std::ptrdiff_t>(kept_bins_), s.power.begin(),
                   [](std::complex<float> b) { return std::norm(b); });
    if (waiting_.size() == kMostWaiting) waiting_.pop_front();  // nobody asked for so long
    waiting_.push_back(std::move(s));
}

std::vector<OrderRow> OrderRows::rows(std::span<const RpmReading> readings) {
    std::vector<OrderRow> out;
    if (readings.empty()) return out;
    while (!waiting_.empty() && waiting_.front().time_s <= readings.back().time_s) {
        const auto& s = waiting_.front();
        const auto after = std::lower_bound(readings.begin(), readings.end(), s.time_s,
                                            [](const RpmReading& r, double t) { return r.time_s < t; });
        const auto nearest =
            after != readings.begin() && s.time_s - (after - 1)->time_s < after->time_s - s.time_s ? after - 1 : after;
        out.push_back(row_of(s, *nearest));
        waiting_.pop_front();
    }
    return out;
}

OrderRow OrderRows::row_of(const Spectrum& s, const RpmReading& reading) const {
    const auto n = config_.columns;
    OrderRow row{s.time_s, std::numeric_limits<double>::quiet_NaN(), std::vector<float>(n, kNan)};
    if (!reading.locked || !(reading.rpm > 0.0)) return row;
    row.rpm = reading.rpm;

    const double bins_per_order = reading.rpm / 60.0 * static_cast<double>(fft_.size()) / config_.sample_rate_hz;
    const double order_per_column = highest_order_ / static_cast<double>(n);
    std::vector<float> power(n, kNan);
    std::size_t known = 0;  // columns that the transform reaches
    for (; known < n; ++known) {
        const double at = (static_cast<double>(known) + 0.5) * order_per_column * bins_per_order;
        const auto bin = static_cast<std::size_t>(at);
        if (bin + 1 >= s.power.size()) break;
        const auto f = static_cast<float>(at - static_cast<double>(bin));
        power[known] = (1.0F - f) * s.power[bin] + f * s.power[bin + 1];
    }
    const auto reach = static_cast<std::size_t>(std::ceil(firing_order_ / order_per_column));
    std::vector<float> around;
    for (std::size_t i = 0; i < known; ++i) {
        const auto from = i > reach ? i - reach : 0;
        const auto to = std::min(known, i + reach + 1);
        around.assign(power.begin() + static_cast<std::ptrdiff_t>(from),
                      power.begin() + static_cast<std::ptrdiff_t>(to));
        const auto middle = around.begin() + static_cast<std::ptrdiff_t>(around.size() / 2);
        std::nth_element(around.begin(), middle, around.end());
        row.level_db[i] = *middle > 0.0F ? 10.0F * std::log10(std::max(power[i], 1e-20F) / *middle) : kNan;
    }
    return row;
}

}  // namespace idlehark
