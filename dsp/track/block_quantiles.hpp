#pragma once

#include <cstddef>
#include <span>
#include <utility>
#include <vector>

namespace idlehark {

/// A low quantile of every two neighbouring blocks of a list, which overlap by one block: the floor of a spectrum.
/// Way      every block is sorted once, all blocks side by side, by a network that depends on their length alone
///          (Batcher's merge exchange: Knuth, The Art of Computer Programming 3, 5.2.2, Algorithm M; from memory). Of
///          two sorted lists the value of a rank is the least, over all ways to take as many from their heads, of the
///          larger last one taken.
/// Output   exact; the same as sorting each pair of blocks.
class BlockQuantiles {
   public:
    /// `block` values each, 2 or more; `rank` from 0, below `block`.
    BlockQuantiles(std::size_t block, std::size_t rank);

    /// One value for each pair of neighbouring blocks, values.size() / block - 1 of them; what is left over at the end
    /// does not count. Valid until the next call.
    [[nodiscard]] std::span<const float> of(std::span<const float> values);

    [[nodiscard]] std::size_t block() const noexcept { return sorted_.size(); }

   private:
    std::size_t rank_;
    std::vector<std::pair<std::size_t, std::size_t>> network_;
    std::vector<std::vector<float>> sorted_;  ///< [rank][block]
    std::vector<float> found_;
};

}  // namespace idlehark
