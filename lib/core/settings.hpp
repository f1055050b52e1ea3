// Settings: named values from the Setup, on their way to the options of one method.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

namespace firstedge {

/// A flat group of named values and the place they came from. Each room turns Settings into its own options
/// struct, asking for what it knows; finish() then refuses whatever was not asked for, so a misspelt name
/// never passes.
class Settings {
 public:
  struct Value;
  struct Member;
  using List = std::vector<Value>;
  using Group = std::vector<Member>;
  struct Value {
    std::variant<bool, double, std::string, List, Group> is;
  };
  struct Member {
    std::string name;
    Value value;
  };

  Settings() = default;
  /// place: where the group stands, for error sentences ("bench.json, channels/0/baseline"); of an outermost
  /// group, the file and a space ("bench.json, ").
  explicit Settings(std::string place) : place_(std::move(place)) {}

  void set(const std::string& name, Value value) { values_[name] = std::move(value); }
  void set(const std::string& name, double value) { set(name, Value{value}); }
  void set(const std::string& name, bool value) { set(name, Value{value}); }
  void set(const std::string& name, const std::string& value) { set(name, Value{value}); }
  void set(const std::string& name, const char* value) { set(name, Value{std::string(value)}); }

  bool has(const std::string& name) const { return values_.contains(name); }
  bool empty() const { return values_.empty(); }
  const std::string& place() const { return place_; }
  const std::map<std::string, Value>& values() const { return values_; }

  // Each getter marks the name as known and returns the fallback if it is absent; a value of the wrong kind
  // throws Error. A quantity is a number in SI or a text with a unit ("0.8 ns").
  bool flag(const std::string& name, bool fallback) const;
  double number(const std::string& name, double fallback) const;
  /// A whole number from least to most (below 2^53); anything else throws Error with the range.
  std::uint64_t whole_number(const std::string& name, std::uint64_t fallback, std::uint64_t least,
                             std::uint64_t most) const;
  double quantity(const std::string& name, std::string_view si_unit, double fallback) const;
  std::optional<double> quantity(const std::string& name, std::string_view si_unit) const;
  std::string text(const std::string& name, const std::string& fallback) const;
  std::vector<std::string> texts(const std::string& name) const;
  /// Two quantities in rising order, such as a window ["-20 ns", "-2 ns"]; nothing if absent.
  std::optional<std::pair<double, double>> range(const std::string& name, std::string_view si_unit) const;
  std::vector<double> quantities(const std::string& name, std::string_view si_unit) const;
  /// A group inside the group (empty if absent), with its place; and a list of groups.
  Settings group(const std::string& name) const;
  std::vector<Settings> groups(const std::string& name) const;
  /// One of the words allowed; Error lists them otherwise.
  std::string choice(const std::string& name, const std::string& fallback,
                     const std::vector<std::string>& allowed) const;

  /// The value as it stands, for a name that may have values of several kinds; nothing if absent.
  std::optional<Value> value(const std::string& name) const;

  /// Throws Error for the first value that no getter asked for, naming the ones that were.
  void finish() const;

  /// Error at this group: "<place>/<name>: <problem>; <remedy>".
  [[noreturn]] void refuse(const std::string& name, const std::string& problem,
                           const std::string& remedy) const;

  /// These values, and below them those of `defaults` that are absent here.
  Settings over(const Settings& defaults) const;

 private:
  const Value* find(const std::string& name) const;

  std::string place_;
  std::map<std::string, Value> values_;
  mutable std::set<std::string> known_;
};

}  // namespace firstedge
