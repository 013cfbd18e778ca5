#include "dsp/track/block_quantiles.hpp"

#include <algorithm>
#include <bit>
#include <stdexcept>
#include <string>

namespace idlehark {

BlockQuantiles::BlockQuantiles(std::size_t block, std::size_t rank) : rank_(rank), sorted_(block) {
    if (block < 2 || rank >= block)
        throw std::invalid_argument("BlockQuantiles: rank " + std::to_string(rank) + " in blocks of " +
                                    std::to_string(block) + ": blocks hold 2 or more, the rank is below that");
    const std::size_t most = std::bit_ceil(block) / 2;
    for (std::size_t p = most; p > 0; p /= 2) {
        std::size_t q = most, r = 0, d = p;
        while (true) {
            for (std::size_t i = 0; i + d < block; ++i)
                if ((i & p) == r) network_.emplace_back(i, i + d);
            if (q == p) break;
            d = q - p;
            q /= 2;
            r = p;
        }
    }
}

std::span<const float> BlockQuantiles::of(std::span<const float> values) {
    const std::size_t blocks = values.size() / block();
    for (std::size_t e = 0; e < block(); ++e) {
        sorted_[e].resize(blocks);
        for (std::size_t k = 0; k < blocks; ++k) sorted_[e][k] = values[k * block() + e];
    }
    for (const auto& [i, j] : network_) {
        float* const low = sorted_[i].data();
        float* const high = sorted_[j].data();
        for (std::size_t k = 0; k < blocks; ++k) {
            const float a = low[k];
            const float b = high[k];
            low[k] = std::min(a, b);
            high[k] = std::max(a, b);
        }
    }
    found_.resize(blocks == 0 ? 0 : blocks - 1);
    const auto& last = sorted_[rank_];
    for (std::size_t k = 0; k < found_.size(); ++k) found_[k] = std::min(last[k], last[k + 1]);
    for (std::size_t i = 0; i < rank_; ++i) {
        const float* const left = sorted_[i].data();
        const float* const right = sorted_[rank_ - 1 - i].data() + 1;
        for (std::size_t k = 0; k < found_.size(); ++k) found_[k] = std::min(found_[k], std::max(left[k], right[k]));
    }
    return found_;
}

}  // namespace idlehark
