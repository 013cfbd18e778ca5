#pragma once

#include <string>
#include <vector>

namespace idlehark {

enum class PromptStyle { off, beep, spoken };

/// Two tones, peak 0.4: short and rising (0.25 s) where spray is asked for, low and falling (0.6 s) for all else, so
/// that "do not spray" is heard as such by ear alone.
[[nodiscard]] std::vector<float> beep(double sample_rate_hz, bool asks_for_spray);

/// A short English sentence, peak 0.5, by Flite's voice kal16; empty text, empty sound. Numbers are read as numbers.
/// Not from two threads at once.
[[nodiscard]] std::vector<float> speak(const std::string& text, double sample_rate_hz);

}  // namespace idlehark
