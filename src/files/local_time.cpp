#include "src/files/local_time.hpp"

#include <array>
#include <ctime>

namespace idlehark {

std::string local_time(const char* format, int seconds_ago) {
    const std::time_t now = std::time(nullptr) - seconds_ago;
    std::tm local{};
    localtime_r(&now, &local);
    std::array<char, 64> text{};
    return {text.data(), std::strftime(text.data(), text.size(), format, &local)};
}

}  // namespace idlehark
