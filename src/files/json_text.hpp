#pragma once

#include "src/files/json.hpp"
#include "src/result.hpp"

#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json.hpp>

namespace idlehark {

/// The number, or null where there is none (NaN, infinity).
[[nodiscard]] Json json_number(double x);
/// The same, rounded to so many decimals.
[[nodiscard]] Json json_number(double x, int decimals);

/// Parses a small JSON file whose top level is an object. Errors name file, line and column; a key given twice, nesting
/// deeper than 16 and more than 2000 keys in one object are errors too.
Result<Json> read_json_object(const std::string& path);
/// The same for a text at hand; `file` names it in messages.
Result<Json> parse_json_object(std::string_view text, const std::string& file);
/// What this program stored once, and somebody may have spoilt since: an empty object where it is not as above. Meant
/// for long texts; of a key given twice the last counts.
[[nodiscard]] Json stored_json_object(std::string_view text);

/// Takes values out of one JSON object and keeps the first complaint, in the form "file: place.key: value is not ...".
class JsonFields {
   public:
    JsonFields(const Json& object, std::string file, std::string place = {});

    /// The keys that may appear; any other is named in a warning.
    void expect(std::initializer_list<std::string_view> keys);

    /// The key's value if it is there and in range; the complaint is kept if it is wrong.
    std::optional<int> whole(const char* key, int lowest, int highest);
    std::optional<double> number(const char* key, double lowest, double highest);
    std::optional<std::string> text(const char* key);
    /// The position of the word in `words`.
    std::optional<std::size_t> word(const char* key, const std::vector<std::string_view>& words);
    std::optional<std::vector<double>> numbers(const char* key, double lowest, double highest);
    std::optional<std::vector<int>> wholes(const char* key, int lowest, int highest);
    std::optional<std::vector<std::vector<int>>> whole_lists(const char* key, int lowest, int highest);

    void missing(const char* key, std::string_view what_it_is);
    void complain(std::string text);
    [[nodiscard]] const std::optional<Error>& error() const noexcept { return error_; }
    [[nodiscard]] const std::vector<std::string>& warnings() const noexcept { return warnings_; }
    [[nodiscard]] std::string at(const char* key) const;

   private:
    [[nodiscard]] const Json* find(const char* key) const;
    std::optional<int> whole_value(const char* key, const Json& value, int lowest, int highest);

    const Json& object_;
    std::string file_;
    std::string place_;
    std::optional<Error> error_;
    std::vector<std::string> warnings_;
};

}  // namespace idlehark
