#include "src/capture/capture.hpp"

#include "src/capture/callback.hpp"

#include <algorithm>
#include <atomic>
#include <cstdlib>
#include <thread>
#include <utility>
#include <vector>

#include <catch2/catch.hpp>

// Under a sanitizer the allocator is the sanitizer's own, and stays so.
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define SANITIZED 1
#elif defined(__has_feature)  // clang
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define SANITIZED 1
#endif
#endif
#ifndef SANITIZED
#define COUNTING_MALLOC 1
namespace {
thread_local bool counting = false;
thread_local int allocations = 0;
void count() {
    if (counting) ++allocations;
}
}  // namespace
extern "C" {
// NOLINTBEGIN(bugprone-reserved-identifier, readability-identifier-naming)
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void __libc_free(void*);
// NOLINTEND(bugprone-reserved-identifier, readability-identifier-naming)
void* malloc(std::size_t n) { return count(), __libc_malloc(n); }
void* calloc(std::size_t n, std::size_t size) { return count(), __libc_calloc(n, size); }
void* realloc(void* p, std::size_t n) { return count(), __libc_realloc(p, n); }
void free(void* p) {
    if (p) count();
    __libc_free(p);
}
}
#endif

using namespace idlehark;

namespace {

/// Frame i of channel c carries 2 i + c: what arrives can be checked sample by sample.
std::vector<float> numbered(std::uint64_t first, std::size_t frames) {
    std::vector<float> x;
    for (std::size_t i = 0; i < frames; ++i)
        for (std::size_t c = 0; c < 2; ++c) x.push_back(static_cast<float>((2 * (first + i) + c) % 16777216));
    return x;
}

/// Takes every block out; returns the frames, checks their numbers.
std::uint64_t take_all(Capture& capture) {
    std::uint64_t frames = 0;
    for (const Block* b = capture.oldest(); b; b = capture.oldest()) {
        for (std::uint32_t i = 0; i < 2 * b->frames; ++i)
            if (b->samples[i] != static_cast<float>((2 * b->first_frame + i) % 16777216)) FAIL("wrong sample");
        frames += b->frames;
        capture.release();
    }
    return frames;
}

}  // namespace

TEST_CASE("Capture: hands on what was submitted, in pieces of any length", "[capture]") {
    Capture capture{2};
    std::uint64_t at = 0;
    for (const std::size_t n : {1U, 255U, 256U, 257U, 0U, 8192U, 100U}) {
        capture.submit(numbered(at, n).data(), n);
        at += n;
    }
    CHECK_FALSE(capture.oldest()->gap_before);
    CHECK(take_all(capture) == at);
    CHECK(capture.frames() == at);
    CHECK(capture.losses() == CaptureLosses{});
}

TEST_CASE("Capture: a full ring drops, counts, and marks the next block", "[capture]") {
    Capture capture{2};
    constexpr std::uint64_t kFits = 2048 * 256;
    capture.submit(numbered(0, kFits + 1000).data(), kFits + 1000);
    CHECK(capture.losses().dropped_frames == 1000);
    CHECK(take_all(capture) == kFits);
    capture.submit(numbered(kFits + 1000, 10).data(), 10);
    REQUIRE(capture.oldest() != nullptr);
    CHECK(capture.oldest()->gap_before);
    CHECK(capture.oldest()->first_frame == kFits + 1000);
    CHECK(take_all(capture) == 10);
    capture.submit(numbered(kFits + 1010, 10).data(), 10);
    CHECK_FALSE(capture.oldest()->gap_before);
}

TEST_CASE("Capture: one writer and one reader lose and mix up nothing", "[capture]") {
    Capture capture{2};
    constexpr std::uint64_t kFrames = 2'000'000;
    std::atomic<bool> done{false};
    std::thread writer{[&] {
        for (std::uint64_t at = 0; at < kFrames;) {
            if (capture.nearly_full()) {
                std::this_thread::yield();
                continue;
            }
            const std::uint64_t n = std::min<std::uint64_t>(1 + at % 700, kFrames - at);
            const auto x = numbered(at, n);
            capture.submit(x.data(), n);
            at += n;
        }
        done = true;
    }};
    std::uint64_t taken = 0;
    while (!done) {
        taken += take_all(capture);
        std::this_thread::yield();
    }
    writer.join();
    taken += take_all(capture);
    CHECK(taken == kFrames);
    CHECK(capture.losses() == CaptureLosses{});
}

TEST_CASE("Capture: the callback notes what the device lost, and never stops by itself", "[capture]") {
    Capture capture{2};
    const auto x = numbered(0, 64);
    CHECK(idlehark_on_audio(x.data(), nullptr, 64, nullptr, paInputOverflow, &capture) == paContinue);
    REQUIRE(capture.oldest() != nullptr);
    CHECK(capture.oldest()->gap_before);
    CHECK(capture.losses().device_gaps == 1);
    CHECK(idlehark_on_audio(nullptr, nullptr, 64, nullptr, 0, &capture) == paContinue);
    CHECK(capture.frames() == 64);
}

#if COUNTING_MALLOC
TEST_CASE("Capture: the callback allocates nothing, also when the ring is full", "[capture]") {
    Capture capture{2};
    const auto x = numbered(0, 8192);
    counting = true;
    allocations = 0;
    void* volatile one = std::malloc(8);  // the counter counts
    std::free(one);
    const int counted = std::exchange(allocations, 0);
    for (int i = 0; i < 100; ++i)
        idlehark_on_audio(x.data(), nullptr, 8192, nullptr, i % 7 == 0 ? paInputOverflow : 0, &capture);
    counting = false;
    CHECK(counted == 2);
    CHECK(allocations == 0);
    CHECK(capture.losses().dropped_frames > 0);
}
#endif
