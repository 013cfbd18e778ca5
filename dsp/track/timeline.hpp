#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace idlehark {

/// The recent past of one sampled signal, addressed by absolute sample number so that the numbers cannot depend on
/// how the sound was cut into blocks. Sample i stands at offset_s + i / rate_hz.
class Timeline {
   public:
    Timeline(double rate_hz, double offset_s) : rate_hz_(rate_hz), offset_s_(offset_s) {}

    void push(float v) { data_.push_back(v); }
    void append(std::span<const float> x) { data_.insert(data_.end(), x.begin(), x.end()); }
    /// Forgets samples before `first`, once that is worth the copying.
    void forget_before(std::int64_t first) {
        const auto n = first - first_;
        if (n < static_cast<std::int64_t>(data_.size()) / 2 || n < kWorthwhile) return;
        data_.erase(data_.begin(), data_.begin() + n);
        first_ = first;
    }
    void clear() {
        data_.clear();
        first_ = 0;
    }

    [[nodiscard]] std::int64_t end() const noexcept { return first_ + static_cast<std::int64_t>(data_.size()); }
    /// Copies samples [first, first + out.size()) ; those outside the known past are 0.
    void copy(std::int64_t first, std::span<float> out) const noexcept {
        for (std::size_t i = 0; i < out.size(); ++i) {
            const auto at = first + static_cast<std::int64_t>(i) - first_;
            out[i] =
                at >= 0 && at < static_cast<std::int64_t>(data_.size()) ? data_[static_cast<std::size_t>(at)] : 0.F;
        }
    }
    /// Samples from `first` on, which must not be forgotten.
    [[nodiscard]] std::span<const float> since(std::int64_t first) const noexcept {
        return std::span(data_).subspan(static_cast<std::size_t>(first - first_));
    }
    [[nodiscard]] double rate_hz() const noexcept { return rate_hz_; }
    [[nodiscard]] double time_s(std::int64_t i) const noexcept { return offset_s_ + static_cast<double>(i) / rate_hz_; }
    /// The last sample at or before time t.
    [[nodiscard]] std::int64_t index_at(double t) const noexcept {
        const double x = (t - offset_s_) * rate_hz_;
        const auto i = static_cast<std::int64_t>(x);
        return x < static_cast<double>(i) ? i - 1 : i;
    }

   private:
    static constexpr std::int64_t kWorthwhile = 1024;
    double rate_hz_;
    double offset_s_;
    std::int64_t first_ = 0;
    std::vector<float> data_;
};

}  // namespace idlehark
