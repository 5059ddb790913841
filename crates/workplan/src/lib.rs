//! From advice to work: economics, dates and crews, materials, young trees and safety; no statistics.
