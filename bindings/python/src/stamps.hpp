// A whole stamp table in memory.
#pragma once

#include "firstedge/io/stamp_table.hpp"

#include <string>
#include <vector>

namespace firstedge::python {

struct StampTable {
  StampTableHead head;
  std::vector<Stamp> stamps;
  std::vector<TriggerRow> triggers;

  std::vector<std::string> channels() const;
  std::vector<std::string> methods() const;
};

}  // namespace firstedge::python
