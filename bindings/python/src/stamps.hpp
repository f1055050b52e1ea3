// A whole stamp table in memory.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <filesystem>
#include <string>
#include <variant>
#include <vector>

namespace firstedge::python {

struct StampTable {
  StampTableHead head;
  std::vector<Stamp> stamps;
  std::vector<TriggerRow> triggers;

  std::vector<std::string> channels() const;
  std::vector<std::string> methods() const;
};

/// A stamp table as callers give it: its file, or the table.
using TableLike = std::variant<std::filesystem::path, const StampTable*>;

/// Where that is, for as long as the table lives; one in memory is called `name`.
StampTableAt table_at(const TableLike& table, const std::string& name);

}  // namespace firstedge::python
