#pragma once

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <stdexcept>
#include <string>
#include <string_view>

#include <sys/mman.h>
#include <unistd.h>

/// What a fuzz target calls on the bytes that it is given; see tests/fuzz/CMakeLists.txt.
// NOLINTNEXTLINE(readability-identifier-naming)
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace idlehark::fuzz {

[[nodiscard]] inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
    return {reinterpret_cast<const char*>(data), size};
}

/// What must hold for any input: says what does not, and ends the program so that the input is kept.
inline void must(bool holds, const char* what) {
    if (holds) return;
    std::fprintf(stderr, "BROKEN: %s\n", what);
    std::abort();
}

/// A file in memory that has a path, for readers that open one by name.
class MemoryFile {
   public:
    explicit MemoryFile(std::string_view bytes) : fd_(memfd_create("fuzz", MFD_CLOEXEC)) {
        if (fd_ < 0) throw std::runtime_error("no file in memory");
        while (!bytes.empty()) {
            const auto n = write(fd_, bytes.data(), bytes.size());
            if (n <= 0) throw std::runtime_error("the file in memory cannot be written");
            bytes.remove_prefix(static_cast<std::size_t>(n));
        }
    }
    ~MemoryFile() { close(fd_); }
    MemoryFile(const MemoryFile&) = delete;
    MemoryFile& operator=(const MemoryFile&) = delete;
    [[nodiscard]] std::string path() const { return "/proc/self/fd/" + std::to_string(fd_); }

   private:
    int fd_;
};

/// Takes an input apart; beyond its end there are zeros and empty texts.
class Bytes {
   public:
    Bytes(const std::uint8_t* data, std::size_t size) : rest_(text_of(data, size)) {}
    [[nodiscard]] bool empty() const noexcept { return rest_.empty(); }
    [[nodiscard]] std::uint8_t byte() {
        const auto part = take(1);
        return part.empty() ? std::uint8_t{0} : static_cast<std::uint8_t>(part.front());
    }
    /// Big-endian, of so many bytes.
    [[nodiscard]] std::uint64_t number(std::size_t bytes) {
        std::uint64_t value = 0;
        for (std::size_t i = 0; i < bytes; ++i) value = (value << 8U) | byte();
        return value;
    }
    /// A count, then so many bytes.
    [[nodiscard]] std::string text() { return std::string{take(byte())}; }
    [[nodiscard]] std::string_view rest() { return take(rest_.size()); }

   private:
    std::string_view take(std::size_t n) {
        const auto part = rest_.substr(0, n);
        rest_.remove_prefix(part.size());
        return part;
    }
    std::string_view rest_;
};

/// Sends what the program prints nowhere.
inline void quiet() {
    if (!std::freopen("/dev/null", "w", stdout)) std::abort();
}

}  // namespace idlehark::fuzz
